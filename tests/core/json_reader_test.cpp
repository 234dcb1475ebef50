// JSON documents: bad ones are refused in one line that names the file and the place.
#include "core/json_reader.h"

#include <gtest/gtest.h>

#include <fstream>
#include <functional>
#include <random>

#include "core/errors.h"

namespace interstice {
namespace {

// What an InputError thrown by `work` says; "" when none is thrown.
std::string said(const std::function<void()>& work) {
  try {
    work();
  } catch (const core::InputError& e) {
    return e.what();
  }
  return "";
}

struct Document {
  nlohmann::json value;
  core::JsonNode root;
  explicit Document(const std::string& text)
      : value(core::parse_json(text, "a.json")), root(value, "a.json") {}
};

TEST(Json, ErrorsNameFilePlaceAndFault) {
  const Document d(R"({"tiles": [{"outline": [[1, 2], [3, "x"]]}], "n": 2.5, "flag": 1, "name": "abc"})");
  const core::JsonNode outline = d.root.at("tiles").at(std::size_t{0}).at("outline");
  EXPECT_EQ(outline.at(std::size_t{0}).numbers(2), (std::vector<double>{1, 2}));
  EXPECT_EQ(said([&] { outline.at(1).numbers(2); }), "a.json: tiles[0].outline[1][1]: not a number");
  EXPECT_EQ(said([&] { outline.at(std::size_t{0}).numbers(3); }),
            "a.json: tiles[0].outline[0]: needs 3 numbers");
  EXPECT_EQ(said([&] { outline.at(2); }), "a.json: tiles[0].outline: has too few entries");
  EXPECT_EQ(said([&] { outline.at("u"); }), "a.json: tiles[0].outline: not an object");
  EXPECT_EQ(said([&] { d.root.at("profile"); }), "a.json: \"profile\" is missing");
  EXPECT_EQ(said([&] { d.root.size(); }), "a.json: not a list");
  EXPECT_EQ(said([&] { d.root.at("n").integer(0, 9); }), "a.json: n: not a whole number");
  EXPECT_EQ(said([&] { d.root.at("n").number(3, 9); }), "a.json: n: 2.5 is outside 3 to 9");
  EXPECT_EQ(said([&] { d.root.at("flag").boolean(); }), "a.json: flag: not true or false");
  EXPECT_EQ(said([&] { d.root.at("flag").text(); }), "a.json: flag: not a text");
  EXPECT_EQ(said([&] { d.root.at("name").text(2); }), "a.json: name: longer than 2 bytes");
  EXPECT_EQ(said([&] { d.root.at("name").number(); }), "a.json: name: not a number");
}

TEST(Json, ReadsWhatStandsThere) {
  const Document d(R"({"x": -1.25e2, "i": 7, "yes": true, "none": null, "s": "\u00e4"})");
  EXPECT_EQ(d.root.at("x").number(), -125);
  EXPECT_EQ(d.root.at("i").integer(7, 7), 7);
  EXPECT_TRUE(d.root.at("yes").boolean());
  EXPECT_TRUE(d.root.at("none").is_null());
  EXPECT_EQ(d.root.at("s").text(), "\xc3\xa4");
  EXPECT_TRUE(d.root.has("x"));
  EXPECT_FALSE(d.root.has("y"));
}

// RFC 8259 has no NaN and no infinity, and a number beyond a double's range has no value.
TEST(Json, NoNumberThatIsNotFinite) {
  for (const char* text : {R"({"x": NaN})", R"({"x": Infinity})", R"({"x": -inf})", R"({"x": 1e999})"}) {
    EXPECT_NE(said([&] { core::parse_json(text, "a.json"); }), "") << text;
  }
  const nlohmann::json nan = std::nan(""), infinite = HUGE_VAL;
  EXPECT_EQ(said([&] { core::JsonNode(nan, "a.json", "x").number(); }), "a.json: x: not a finite number");
  EXPECT_EQ(said([&] { core::JsonNode(infinite, "a.json", "x").number(0, 1); }),
            "a.json: x: not a finite number");
}

TEST(Json, AKeyTwiceInOneObjectIsRefused) {
  EXPECT_EQ(said([] { core::parse_json(R"({"a": {"b": 1, "c": 2, "b": 3}})", "a.json"); }),
            "a.json: \"b\" stands twice in one object");
  EXPECT_EQ(said([] { core::parse_json(R"({"a": {"b": 1}, "c": {"b": 1}, "b": [{"b": 1}]})", "a.json"); }),
            "");
}

TEST(Json, DepthIsLimited) {
  const auto nested = [](std::size_t n) { return std::string(n, '[') + std::string(n, ']'); };
  EXPECT_EQ(said([&] { core::parse_json(nested(60), "a.json"); }), "");
  EXPECT_EQ(said([&] { core::parse_json(nested(70), "a.json"); }), "a.json: nested deeper than 64 levels");
  EXPECT_NE(said([&] { core::parse_json(nested(1000000), "a.json"); }), "");
  EXPECT_NE(said([&] { core::parse_json(std::string(1000000, '['), "a.json"); }), "");
}

// Every prefix of a document is refused, and says where.
TEST(Json, CutShortAnywhereIsRefused) {
  const std::string text = R"({"a": [1, 2.5, "t\u00e4xt"], "b": {"c": null, "d": false}})";
  for (std::size_t n = 0; n < text.size(); ++n) {
    const std::string what = said([&] { core::parse_json(text.substr(0, n), "a.json"); });
    EXPECT_NE(what.find("a.json: not valid JSON near byte"), std::string::npos) << n << what;
  }
  EXPECT_EQ(said([&] { core::parse_json(text, "a.json"); }), "");
}

// Whatever one byte becomes: parsed or refused, nothing else.
TEST(Json, DamagedBytesAreParsedOrRefused) {
  const std::string text = R"({"a": [1, 2.5, "text"], "b": {"c": null, "d": [[0.125, 3]]}})";
  std::mt19937 random(5);
  int refused = 0;
  for (int i = 0; i < 5000; ++i) {
    std::string damaged = text;
    damaged[random() % text.size()] = static_cast<char>(random() & 0xff);
    const std::string what = said([&] { core::parse_json(damaged, "a.json"); });
    refused += what.empty() ? 0 : 1;
    EXPECT_EQ(what.find('\n'), std::string::npos);
  }
  EXPECT_GT(refused, 1000);
}

TEST(Json, FilesThatCannotBeRead) {
  const std::string folder = testing::TempDir();
  EXPECT_EQ(said([&] { core::read_json(folder + "/no_such.json"); }), folder + "/no_such.json: no such file");
  EXPECT_NE(said([&] { core::read_json(folder); }).find("is a folder"), std::string::npos);
  const std::string path = folder + "/interstice_large.json";
  std::ofstream(path) << "[" << std::string(2000, ' ') << "]";
  EXPECT_NE(said([&] { core::read_json(path, 1000); }).find("larger than the limit"), std::string::npos);
  EXPECT_EQ(said([&] { core::read_json(path, 3000); }), "");
  std::remove(path.c_str());
}

TEST(OneLine, ShowsNoControlCharactersAndCutsInTheMiddle) {
  EXPECT_EQ(core::one_line("a\nb\x1b[31m\x7f"), "a\\x0ab\\x1b[31m\\x7f");
  EXPECT_EQ(core::one_line("\xc3\xa4"), "\xc3\xa4");
  const std::string cut = core::one_line(std::string(500, 'a') + std::string(500, 'z'), 101);
  EXPECT_EQ(cut, std::string(49, 'a') + "..." + std::string(49, 'z'));
  EXPECT_EQ(core::one_line("short", 8), "short");
}

// Cutting never leaves half a character (UTF-8, RFC 3629).
TEST(OneLine, CutsBetweenCharacters) {
  std::string text;
  for (int i = 0; i < 200; ++i) text += "\xe2\x82\xac";
  for (std::size_t limit = 20; limit < 32; ++limit) {
    const std::string cut = core::one_line(text, limit);
    EXPECT_LE(cut.size(), limit);
    EXPECT_NO_THROW(nlohmann::json(cut).dump()) << limit;  // throws on bytes that are not UTF-8
  }
}

}  // namespace
}  // namespace interstice
