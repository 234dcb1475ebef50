// Names, digests, tag files and checking of bags (RFC 8493).
#include "archive/bag.h"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <random>

#include "archive/names.h"
#include "archive/sample.h"
#include "core/errors.h"

namespace fs = std::filesystem;
using namespace interstice;

namespace {

fs::path small_bag(const sample::Scratch& scratch, const std::string& name = "bag") {
  archive::BagWriter writer(scratch / name);
  writer.add_bytes("a fit\n", "fit.json");
  writer.add_bytes(std::string("\0\xff\x01 photo", 9), "photos/one 100%.jpg");
  writer.add_bytes("", "scan/deep/empty.bin");
  archive::BagInfo info;
  info.add("Interstice-Name", "marsh bowl");
  writer.close(info);
  return scratch / name;
}

void make_writable(const fs::path& file) {
  fs::permissions(file, fs::perms::owner_write, fs::perm_options::add);
}

void overwrite(const fs::path& file, const std::string& bytes) {
  make_writable(file);
  sample::write_file(file, bytes);
}

bool mentions(const std::vector<std::string>& faults, const std::string& text) {
  return std::any_of(faults.begin(), faults.end(),
                     [&](const std::string& f) { return f.find(text) != std::string::npos; });
}

}  // namespace

// FIPS 180-4, the example values NIST publishes with it for "abc" and for the empty message.
TEST(Digests, PublishedValues) {
  EXPECT_EQ(archive::digests_of("abc").sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(archive::digests_of("abc").sha512,
            "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
            "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f");
  EXPECT_EQ(archive::digests_of("").sha256,
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  EXPECT_EQ(archive::digests_of("").sha512.substr(0, 16), "cf83e1357eefb8bd");
}

TEST(Names, RefusedAndKept) {
  EXPECT_EQ(core::checked_name("  marsh bowl ", "--name"), "marsh bowl");
  // Decomposed letters (as some systems write file names) come out composed: U+0065 U+0301 -> U+00E9.
  EXPECT_EQ(core::checked_name("\x65\xcc\x81", "n"), "\xc3\xa9");
  EXPECT_EQ(core::checked_name("\xe6\xa5\xa2 no. 3", "n"), "\xe6\xa5\xa2 no. 3");
  for (const std::string bad : {"", "   ", "a\nb", "\xff\xfe",
                                "a\xe2\x80\xae"
                                "b" /* U+202E */,
                                "\xed\xa0\x80" /* surrogate */, "\xef\xbb\xbfx" /* U+FEFF */, "tab\there",
                                "\xe2\x80\xa8" /* line separator */}) {
    EXPECT_THROW(core::checked_name(bad, "--name"), core::InputError) << bad;
  }
  EXPECT_THROW(core::checked_name(std::string("a\0b", 3), "n"), core::InputError);
  EXPECT_THROW(core::checked_name(std::string(201, 'x'), "n"), core::InputError);
  EXPECT_EQ(archive::search_key("\xc3\x89"
                                "CLAT"),
            archive::search_key("e\xcc\x81"
                                "clat"));
}

TEST(Names, SlugIsAlwaysASafeFolderName) {
  EXPECT_EQ(archive::slug("../../etc/passwd"), "etc-passwd");
  EXPECT_EQ(archive::slug("\xc3\x89"
                          "clat d'\xc3\xa9t\xc3\xa9"),
            "eclat-d-ete");
  EXPECT_EQ(archive::slug("\xe6\xa5\xa2"), "piece");
  EXPECT_EQ(archive::slug("A  B--c!"), "a-b-c");
  EXPECT_LE(archive::slug(std::string(300, 'k')).size(), 40u);
}

TEST(Names, PathsThatLeaveABag) {
  for (const std::string good : {"fit.json", "photos/a b.jpg", "scan/\xc3\xa9.png", "a..b/c"}) {
    EXPECT_FALSE(archive::path_fault(good)) << good;
  }
  for (const std::string bad : {"", "/etc/passwd", "../x", "a/../b", "a//b", "./a", "a/", "~/x", "C:/x",
                                "a\\b", "a\nb", "a ", "trailing.", " a", "\xff"}) {
    EXPECT_TRUE(archive::path_fault(bad)) << bad;
  }
  EXPECT_TRUE(archive::path_fault(std::string(300, 'a')));
  EXPECT_TRUE(archive::colliding_paths({"photos/IMG.jpg", "fit.json", "photos/img.JPG"}));
  EXPECT_TRUE(archive::colliding_paths({"\xc3\xa9", "e\xcc\x81"}));
  EXPECT_FALSE(archive::colliding_paths({"a", "b"}));
}

TEST(Names, DatesOfTheCalendar) {
  EXPECT_EQ(archive::checked_date("2024-02-29", "d"), "2024-02-29");
  for (const std::string bad :
       {"2023-02-29", "2024-13-01", "2024-1-1", "24-01-01", "2024-01-01 ", "", "2024/01/01"}) {
    EXPECT_THROW(archive::checked_date(bad, "d"), core::InputError) << bad;
  }
}

TEST(BagInfo, FoldsAndUnfolds) {
  std::mt19937 random(7);
  for (int round = 0; round < 300; ++round) {
    std::string value;
    const int words = 1 + static_cast<int>(random() % 40);
    for (int w = 0; w < words; ++w) {
      value += std::string(1 + random() % 30, static_cast<char>('a' + w % 26)) +
               std::string(w + 1 < words ? 1 + random() % 2 : 0, ' ');
    }
    archive::BagInfo info;
    info.add("External-Description", value);
    info.add("Short", "x: y");
    const std::string text = archive::write_bag_info(info);
    const archive::BagInfo back = archive::parse_bag_info(text, "bag-info.txt");
    EXPECT_EQ(back.first("external-description"), value);
    EXPECT_EQ(back.first("Short"), "x: y");
    EXPECT_EQ(back.fields().size(), 2u);
  }
}

TEST(BagInfo, ReadsWhatOthersWrite) {
  const archive::BagInfo info =
      archive::parse_bag_info("Source-Organization: A\r\n  workshop\rContact-Name:B\n\nEmpty:\n", "f");
  EXPECT_EQ(info.first("source-organization"), "A workshop");
  EXPECT_EQ(info.first("Contact-Name"), "B");
  EXPECT_EQ(info.first("Empty"), "");
  EXPECT_FALSE(info.first("Nothing"));
  EXPECT_THROW(archive::parse_bag_info(" continues\n", "f"), core::InputError);
  EXPECT_THROW(archive::parse_bag_info("no colon\n", "f"), core::InputError);
}

TEST(Manifest, RoundTripWithPercentSigns) {
  // RFC 8493, 2.1.3: only LF, CR and % are encoded.
  const archive::Manifest manifest{{"data/100% oak.jpg", std::string(64, 'a')},
                                   {"data/b/c.txt", std::string(64, '0')}};
  const std::string text = archive::write_manifest(manifest);
  EXPECT_EQ(text,
            std::string(64, 'a') + "  data/100%25 oak.jpg\n" + std::string(64, '0') + "  data/b/c.txt\n");
  EXPECT_EQ(archive::parse_manifest(text, 64, "m"), manifest);
  EXPECT_EQ(archive::parse_manifest(std::string(64, 'A') + "\tdata/x\r\n", 64, "m").at("data/x"),
            std::string(64, 'a'));
}

TEST(Manifest, RefusesWhatLeadsOutOfTheBag) {
  const std::string digest(64, 'a');
  for (const std::string& bad : std::vector<std::string>{
           digest + "  ../../etc/passwd", digest + "  /etc/passwd", digest + "  ~/x", digest, digest + "  ",
           "abc  data/x", "data/x", digest + "  data/a%0Ab", digest + "  data/x\n" + digest + "  data/x",
           digest + "  data/../bagit.txt"}) {
    EXPECT_THROW(archive::parse_manifest(bad, 64, "m"), core::InputError) << bad;
  }
}

TEST(Manifest, MoreLinesThanAnyScanHasAreRefused) {
  const std::string digest(64, 'a');
  for (const std::string end : {"\n", "\r", "\r\n"}) {
    std::string text;
    for (int i = 0; i < 100000; ++i) text += digest + "  data/" + std::to_string(i) + end;
    EXPECT_EQ(archive::parse_manifest(text, 64, "m").size(), 100000u);
    EXPECT_THROW(archive::parse_manifest(text + digest + "  data/x" + end, 64, "m"), core::InputError);
  }
}

TEST(Bag, FreshOneIsWholeAndOtherToolsAgree) {
  const sample::Scratch scratch;
  const fs::path bag = small_bag(scratch);
  EXPECT_TRUE(archive::verify_bag(bag, 1).empty());
  EXPECT_EQ(sample::file_bytes(bag / "bagit.txt"),
            "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
  EXPECT_EQ(archive::parse_bag_info(sample::file_bytes(bag / "bag-info.txt"), "f").first("Payload-Oxum"),
            "15.3");
  // The coreutils know nothing of percent-encoding, so that one file is given to them by its true name.
  const std::string decode = "sed 's/%25/%/' ";
  for (const std::string tool : {"sha256", "sha512"}) {
    const auto [code, out] =
        sample::shell("cd '" + bag.string() + "' && " + decode + "manifest-" + tool + ".txt | " + tool +
                      "sum -c --strict - && " + tool + "sum -c --strict tagmanifest-" + tool + ".txt");
    EXPECT_EQ(code, 0) << out;
    EXPECT_EQ(std::count(out.begin(), out.end(), '\n'), 3 + 4) << out;
  }
}

TEST(Bag, RefusesPathsThatWouldMeet) {
  const sample::Scratch scratch;
  archive::BagWriter writer(scratch / "bag");
  writer.add_bytes("1", "photos/IMG.jpg");
  EXPECT_THROW(writer.add_bytes("2", "photos/img.jpg"), core::InputError);
  EXPECT_THROW(writer.add_bytes("2", "../escaped"), core::InputError);
  EXPECT_THROW(writer.add_bytes("2", "photos/IMG.jpg"), core::InputError);
  EXPECT_FALSE(fs::exists(scratch / "escaped"));
}

TEST(Bag, EveryFlippedBitIsFound) {
  const sample::Scratch scratch;
  const fs::path bag = small_bag(scratch);
  const auto files = sample::contents(bag);
  ASSERT_EQ(files.size(), 9u);
  std::size_t flips = 0;
  for (const auto& [name, bytes] : files) {
    make_writable(bag / name);
    for (std::size_t bit = 0; bit < bytes.size() * 8; ++bit) {
      std::string changed = bytes;
      changed[bit / 8] = static_cast<char>(changed[bit / 8] ^ (1 << bit % 8));
      sample::write_file(bag / name, changed);
      ASSERT_FALSE(archive::verify_bag(bag, 1).empty()) << name << " bit " << bit;
      ++flips;
    }
    sample::write_file(bag / name, bytes);
  }
  EXPECT_GT(flips, 10000u);
  EXPECT_TRUE(archive::verify_bag(bag, 1).empty());
}

TEST(Bag, AlterationsByHandAreNamed) {
  const sample::Scratch scratch;
  const auto altered = [&](const std::string& name, auto&& alter) {
    const fs::path bag = small_bag(scratch, name);
    alter(bag);
    return archive::verify_bag(bag, 2);
  };
  EXPECT_TRUE(
      mentions(altered("changed", [](const fs::path& bag) { overwrite(bag / "data/fit.json", "a git\n"); }),
               "data/fit.json: the content has changed"));
  EXPECT_TRUE(mentions(altered("missing", [](const fs::path& bag) { fs::remove(bag / "data/fit.json"); }),
                       "data/fit.json: is missing"));
  EXPECT_TRUE(
      mentions(altered("extra", [](const fs::path& bag) { sample::write_file(bag / "data/new.txt", "x"); }),
               "data/new.txt: does not belong"));
  EXPECT_TRUE(
      mentions(altered("extra-tag", [](const fs::path& bag) { sample::write_file(bag / "note.txt", "x"); }),
               "note.txt: does not belong"));
  EXPECT_TRUE(
      mentions(altered("renamed",
                       [](const fs::path& bag) { fs::rename(bag / "data/fit.json", bag / "data/git.json"); }),
               "data/git.json: does not belong"));
  EXPECT_TRUE(mentions(altered("link",
                               [](const fs::path& bag) {
                                 fs::remove(bag / "data/fit.json");
                                 fs::create_symlink("../bagit.txt", bag / "data/fit.json");
                               }),
                       "data/fit.json: is a link"));
  EXPECT_TRUE(mentions(altered("folder-link",
                               [](const fs::path& bag) {
                                 fs::rename(bag / "data/scan", bag / ".." / "elsewhere");
                                 fs::create_directory_symlink(bag / ".." / "elsewhere", bag / "data/scan");
                               }),
                       "data/scan: is a link"));
  EXPECT_TRUE(
      mentions(altered("empty-folder", [](const fs::path& bag) { fs::create_directory(bag / "data/void"); }),
               "data/void/: does not belong"));
  // Content and manifests changed together still disagree with the tag manifests.
  EXPECT_TRUE(mentions(altered("forged",
                               [](const fs::path& bag) {
                                 overwrite(bag / "data/fit.json", "forged\n");
                                 const archive::Digests digests = archive::digests_of("forged\n");
                                 archive::Manifest m = archive::parse_manifest(
                                     sample::file_bytes(bag / "manifest-sha256.txt"), 64, "m");
                                 m["data/fit.json"] = digests.sha256;
                                 overwrite(bag / "manifest-sha256.txt", archive::write_manifest(m));
                                 archive::Manifest n = archive::parse_manifest(
                                     sample::file_bytes(bag / "manifest-sha512.txt"), 128, "m");
                                 n["data/fit.json"] = digests.sha512;
                                 overwrite(bag / "manifest-sha512.txt", archive::write_manifest(n));
                               }),
                       "manifest-sha256.txt: the content has changed"));
  EXPECT_TRUE(mentions(altered("traversal",
                               [](const fs::path& bag) {
                                 overwrite(bag / "manifest-sha256.txt",
                                           std::string(64, 'a') + "  data/../../../etc/passwd\n");
                               }),
                       "leads out of the bag"));
}

TEST(Bag, TruncatedAnywhereIsFound) {
  const sample::Scratch scratch;
  const fs::path bag = small_bag(scratch);
  for (const auto& [name, bytes] : sample::contents(bag)) {
    make_writable(bag / name);
    for (std::size_t size = 0; size < bytes.size(); ++size) {
      sample::write_file(bag / name, bytes.substr(0, size));
      ASSERT_FALSE(archive::verify_bag(bag, 1).empty()) << name << " cut to " << size;
    }
    sample::write_file(bag / name, bytes);
    fs::rename(bag / name, bag / "aside");
    ASSERT_FALSE(archive::verify_bag(bag, 1).empty()) << name << " gone";
    fs::rename(bag / "aside", bag / name);
  }
  EXPECT_TRUE(archive::verify_bag(bag, 1).empty());
}

TEST(Bag, PipesAndFoldersInPlaceOfFilesAreRefused) {
  const sample::Scratch scratch;
  archive::BagWriter writer(scratch / "bag");
  ASSERT_EQ(::mkfifo((scratch / "pipe").c_str(), 0600), 0);
  EXPECT_THROW(writer.add_copy(scratch / "pipe", "a"), core::InputError);
  sample::write_file(scratch / "real", "x");
  fs::create_symlink(scratch / "real", scratch / "link");
  EXPECT_THROW(writer.add_copy(scratch / "link", "b"), core::InputError);
  EXPECT_THROW(writer.add_copy(scratch.path(), "c"), core::InputError);
}
