// An output file never takes the place of an input, of a file of another kind, or of one somebody worked on.
#include "core/output_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include <nlohmann/json.hpp>

#include "core/own_folder.h"
#include "core/sha256.h"

namespace interstice {
namespace {

class OutputFiles : public OwnFolder {
 protected:
  std::string write(const fs::path& path, const core::FileKind& kind, const std::string& bytes,
                    const core::Inputs& inputs = {}) const {
    return line_of([&] { core::OutputFile(path, kind, inputs).write(bytes); });
  }
  const core::FileKind fit_ = core::FileKind::json("interstice-fit");
  const std::string fit_text_ = "{\"format\": \"interstice-fit\", \"seams\": []}\n";
};

// FIPS 180-4's own examples (NIST, SHA256.pdf): the message "abc" and the empty one.
TEST(Sha256, PublishedExamples) {
  EXPECT_EQ(core::sha256_of("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(core::sha256_of(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST_F(OutputFiles, AnEarlierOneOfTheSameKindGivesWay) {
  EXPECT_EQ(write(folder_ / "fit.json", fit_, fit_text_), "");
  EXPECT_EQ(write(folder_ / "fit.json", fit_, fit_text_ + " "), "");
  EXPECT_EQ(core::read_file(folder_ / "fit.json"), fit_text_ + " ");
  EXPECT_EQ(names(), Names{"fit.json"});
}

TEST_F(OutputFiles, AnotherKindStays) {
  const std::string jpeg = "\xff\xd8\xff\xe0 photo";
  put(folder_ / "a", jpeg);
  EXPECT_TRUE(says(write(folder_ / "a", fit_, fit_text_), "is a JPEG picture, not an earlier result"));
  put(folder_ / "b", "{\"format\": \"interstice-pour\"}");
  EXPECT_TRUE(says(write(folder_ / "b", fit_, fit_text_), "b: is a JSON document"));
  put(folder_ / "c", "{\"seams\": []}");
  EXPECT_NE(write(folder_ / "c", fit_, fit_text_), "");
  put(folder_ / "d", "my notes");
  EXPECT_TRUE(says(write(folder_ / "d", core::FileKind::pdf(), "%PDF-1.7\n"), "is a text"));
  put(folder_ / "e", "%PDF-1.4 invoice\n%%EOF\n");
  EXPECT_TRUE(says(write(folder_ / "e", core::FileKind::pdf(), "%PDF-1.7\n"), "interstice did not write"));
  EXPECT_EQ(core::read_file(folder_ / "a"), jpeg);
  EXPECT_EQ(core::read_file(folder_ / "d"), "my notes");
  EXPECT_EQ(names(), (Names{"a", "b", "c", "d", "e"}));
  put(folder_ / "empty", "");
  EXPECT_EQ(write(folder_ / "empty", fit_, fit_text_), "");  // nothing is lost with it
}

TEST_F(OutputFiles, WhatSomebodyWorkedOnStays) {
  const std::string png("\x89PNG\r\n\x1a\n....\0\0\0\0IEND\xae\x42\x60\x82", 24);
  const std::pair<core::FileKind, std::string> kinds[] = {
      {core::FileKind::pdf(), "%PDF-1.5\nx\n%%EOF\n"},
      {core::FileKind::svg(), "<svg>\n</svg>\n"},
      {core::FileKind::page(), "<!DOCTYPE html>\n<html></html>\n"},
      {core::FileKind::dxf(), "  0\nSECTION\n  0\nEOF\n"},
      {core::FileKind::png(), png},
      {core::FileKind::plan(), "{\n \"name\": \"x\",\n \"tiles\": []\n}\n"},
      {core::FileKind::form(), "{\n \"profile\": []\n}\n"},
  };
  for (const auto& [kind, bytes] : kinds) {
    const fs::path path = folder_ / "out";
    EXPECT_EQ(write(path, kind, bytes), "") << kind.words();
    EXPECT_EQ(write(path, kind, bytes), "") << kind.words();  // as we left it
    const std::string ours = core::read_file(path);
    EXPECT_TRUE(core::is_ours(ours)) << kind.words();
    for (std::size_t at = 0; at < ours.size(); ++at) {
      std::string edited = ours;
      edited[at] = static_cast<char>(edited[at] ^ 4);
      EXPECT_FALSE(kind.may_replace(edited)) << kind.words() << " changed at " << at;
    }
    put(path, ours + "\n");  // as an editor or a signature adds to it
    EXPECT_NE(write(path, kind, bytes), "") << kind.words();
    EXPECT_EQ(core::read_file(path), ours + "\n");
    put(path, bytes);  // never had a seal
    EXPECT_NE(write(path, kind, bytes), "") << kind.words();
    fs::remove(path);
  }
  EXPECT_EQ(nlohmann::json::parse(core::FileKind::plan().sealed(kinds[5].second)).size(), 3u);
}

TEST_F(OutputFiles, AnInputStaysUnderAnyName) {
  put(folder_ / "plan.json", fit_text_);
  fs::create_symlink("plan.json", folder_ / "link");
  fs::create_hard_link(folder_ / "plan.json", folder_ / "twin");
  fs::create_directory(folder_ / "photos");
  fs::create_symlink("../plan.json", folder_ / "photos" / "p");
  for (const char* name : {"plan.json", "link", "twin", "photos/p"}) {
    EXPECT_TRUE(says(write(folder_ / name, fit_, fit_text_, {folder_ / "plan.json"}), "is read by this run"));
    EXPECT_TRUE(says(write(folder_ / name, fit_, fit_text_, {folder_ / "photos"}), "is read by this run"));
  }
  EXPECT_EQ(core::read_file(folder_ / "plan.json"), fit_text_);
}

TEST_F(OutputFiles, PermissionsAreKept) {
  EXPECT_EQ(write(folder_ / "fit.json", fit_, fit_text_), "");
  fs::permissions(folder_ / "fit.json", fs::perms(0640));
  EXPECT_EQ(write(folder_ / "fit.json", fit_, fit_text_ + "\n"), "");
  EXPECT_EQ(fs::status(folder_ / "fit.json").permissions(), fs::perms(0640));
  fs::permissions(folder_ / "fit.json", fs::perms(0444));
  EXPECT_TRUE(says(write(folder_ / "fit.json", fit_, fit_text_), "is write-protected"));
}

TEST_F(OutputFiles, WhatComesMeanwhileStaysAndTheResultIsKeptBesideIt) {
  core::OutputFile out(folder_ / "fit.json", fit_);
  put(folder_ / "fit.json", "mine");
  const std::string line = line_of([&] { out.write(fit_text_); });
  EXPECT_TRUE(says(line, "the new result is kept as " + (folder_ / "fit-new.json").string())) << line;
  EXPECT_EQ(core::read_file(folder_ / "fit.json"), "mine");
  EXPECT_EQ(core::read_file(folder_ / "fit-new.json"), fit_text_);
  fs::remove(folder_ / "fit.json");
  core::OutputFile again(folder_ / "fit.json", fit_);
  fs::create_directory(folder_ / "fit.json");
  EXPECT_TRUE(says(line_of([&] { again.write(fit_text_); }), "fit-new-2.json"));
}

TEST_F(OutputFiles, NamesAndPlacesAreLookedAtBeforeAnyWork) {
  std::string longest;  // 119 letters of two bytes
  for (int i = 0; i < 119; ++i) longest += "ж";
  EXPECT_EQ(write(folder_ / (longest + ".json"), fit_, fit_text_), "");
  EXPECT_EQ(core::read_file(folder_ / (longest + ".json")), fit_text_);
  const auto begin = [&](const fs::path& path) { return line_of([&] { core::OutputFile(path, fit_); }); };
  EXPECT_TRUE(says(begin(folder_ / (longest + longest)), "too long"));
  EXPECT_TRUE(says(begin(folder_ / "no" / "fit.json"), "there is no folder"));
  EXPECT_TRUE(says(begin(folder_), "is a folder"));
  EXPECT_TRUE(says(begin(folder_ / "new" / ""), "is no file's name"));
  EXPECT_TRUE(says(begin(folder_ / "."), "is a folder"));
  EXPECT_TRUE(says(begin(""), "no file's name"));
  EXPECT_EQ(names(), Names{longest + ".json"});
}

TEST_F(OutputFiles, ADiskIsNoFile) {
  if (::mknod((folder_ / "disk").c_str(), S_IFBLK | 0600, makedev(7, 200)) != 0) GTEST_SKIP();
  EXPECT_TRUE(says(write(folder_ / "disk", fit_, fit_text_), "is a disk"));
}

TEST_F(OutputFiles, StandardOutputGoesOnWhereItIs) {
  put(folder_ / "log", "before\n");
  const int log = ::open((folder_ / "log").c_str(), O_WRONLY | O_APPEND | O_CLOEXEC);
  EXPECT_EQ(write("/dev/fd/" + std::to_string(log), fit_, fit_text_), "");
  ::close(log);
  EXPECT_EQ(core::read_file(folder_ / "log"), "before\n" + fit_text_);
}

}  // namespace
}  // namespace interstice
