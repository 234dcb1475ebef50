// Text from outside: what commands a terminal, hides or turns round is refused by readers and escaped where
// shown.
#include "core/name_check.h"

#include <gtest/gtest.h>

#include "core/errors.h"
#include "core/json_reader.h"

namespace interstice {
namespace {

// Unicode 15, DerivedGeneralCategory: C0, DEL, C1, soft hyphen, bidi marks, embeddings, overrides and
// isolates, line and paragraph separator, zero-width no-break space, interlinear annotation, a language tag,
// a surrogate, an unassigned place.
const char* const kUnsafe[] = {"\x01",         "\x1b",         "\r",           "\x7f",
                               "\xc2\x85",     "\xc2\x9b",     "\xc2\xad",     "\xe2\x80\x8e",
                               "\xe2\x80\xaa", "\xe2\x80\xae", "\xe2\x81\xa6", "\xe2\x80\xa8",
                               "\xe2\x80\xa9", "\xef\xbb\xbf", "\xef\xbf\xb9", "\xf3\xa0\x80\x81",
                               "\xed\xa0\x80", "\xef\xbf\xbf", "\xc3",         "\xff",
                               "\xc0\xaf"};

TEST(NameCheck, RefusesWhatDoesNotShow) {
  for (const std::string bad : kUnsafe) {
    const std::string text = "a" + bad + "b";
    for (const core::Lines lines : {core::Lines::one, core::Lines::many})
      EXPECT_TRUE(core::character_fault(text, lines)) << core::escaped(text);
    EXPECT_THROW(core::checked_name(text, "n"), core::InputError);
    const std::string shown = core::escaped(text);
    EXPECT_FALSE(core::character_fault(shown)) << shown;
    EXPECT_EQ(shown.rfind("a\\x", 0), 0u) << shown;
    EXPECT_EQ(core::one_line(text), shown);
  }
  EXPECT_TRUE(core::character_fault(std::string("a\0b", 3)));
}

TEST(NameCheck, TakesEverybodysLetters) {
  for (const std::string good :
       {"A01", "\xc3\x89t\xc3\xa9 \xf0\x9f\x8c\xb2", "\xe6\xa5\xa2 no. 3", "\xd8\xa8\xd9\x84\xd9\x88\xd8\xb7",
        "\xe0\xa4\x95\xe0\xa5\x8d\xe2\x80\x8d\xe0\xa4\xb7", "a\\x1b"}) {
    EXPECT_FALSE(core::character_fault(good)) << good;
    EXPECT_EQ(core::escaped(good), good);
    EXPECT_EQ(core::checked_name(" " + good + " ", "n"), good);
  }
}

TEST(NameCheck, LinesWhereTheyMayBe) {
  EXPECT_EQ(core::character_fault("a\nb"), "holds the invisible or control character U+000A");
  EXPECT_FALSE(core::character_fault("a\n\tb", core::Lines::many));
  EXPECT_TRUE(core::character_fault("a\rb", core::Lines::many));
  EXPECT_EQ(core::escaped("a\n\x1b"
                          "b",
                          core::Lines::many),
            "a\n\\x1b"
            "b");
  EXPECT_THROW(core::checked_name(std::string(41, 'x'), "n", 40), core::InputError);
  EXPECT_THROW(core::checked_name("  ", "n"), core::InputError);
}

// Whatever document a text stands in.
TEST(NameCheck, EveryTextOfADocument) {
  const nlohmann::json document = {{"ok", "oak, ash"},
                                   {"bidi",
                                    "a\u202e"
                                    "b"},
                                   {"lines", "a\nb"}};
  const core::JsonNode root(document, "f.json");
  EXPECT_EQ(root.at("ok").text(), "oak, ash");
  try {
    root.at("bidi").text();
    ADD_FAILURE();
  } catch (const core::InputError& e) {
    EXPECT_STREQ(e.what(), "f.json: bidi: holds the invisible or control character U+202E");
  }
  EXPECT_THROW(root.at("lines").text(), core::InputError);
  EXPECT_EQ(root.at("lines").text(20000), "a\nb");  // running text
}

}  // namespace
}  // namespace interstice
