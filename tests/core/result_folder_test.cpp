// A folder of results never takes the place of anything but an earlier result as it was written.
#include "core/result_folder.h"

#include <sys/stat.h>

#include "core/own_folder.h"
#include "core/result_list.h"

namespace interstice {
namespace {

class ResultFolders : public OwnFolder {
 protected:
  core::ResultOf result(bool replace = true, const core::Inputs& inputs = {}) const {
    return {"inspect", "marsh bowl", replace, inputs};
  }
  static void fill(const core::ResultFolder& folder, const std::string& text) {
    core::write_new_file(folder.work() / "fit.json", text);
    fs::create_directory(folder.work() / "scan");
    core::write_new_file(folder.work() / "scan" / "cameras.json", "cameras " + text);
  }
  std::string run(const fs::path& target, const core::ResultOf& of, const std::string& text = "1") const {
    return line_of([&] {
      core::ResultFolder folder(target, of);
      fill(folder, text);
      folder.commit();
    });
  }
  // The name of the folder of the test is no folder of results before and after a refusal.
  void refused(const fs::path& target, const core::ResultOf& of, const std::string& part) {
    const Names before = names();
    const std::string line = line_of([&] { core::ResultFolder(target, of); });
    EXPECT_TRUE(says(line, part)) << target << ": " << line;
    EXPECT_EQ(names(), before);
  }
  fs::path out() const { return folder_ / "out"; }
};

const Names kResult{"fit.json", "result.json", "scan"};

TEST_F(ResultFolders, AppearsOnCommitAndListsWhatItHolds) {
  {
    core::ResultFolder folder(out(), result());
    fill(folder, "1");
    EXPECT_FALSE(fs::exists(out()));
    folder.commit();
  }
  EXPECT_EQ(names(), Names{"out"});
  EXPECT_EQ(names(out()), kResult);
  const core::ResultList list =
      core::parse_result_list(core::read_file(out() / "result.json"), "result.json");
  EXPECT_EQ(list.command, "inspect");
  EXPECT_EQ(list.piece, "marsh bowl");
  ASSERT_EQ(list.files.size(), 2u);
  EXPECT_EQ(list.files[1].path, "scan/cameras.json");
  EXPECT_EQ(list.files[1].bytes, 9u);
}

TEST_F(ResultFolders, NothingIsLeftWithoutACommit) {
  ASSERT_EQ(run(out(), result()), "");
  {
    core::ResultFolder folder(out(), result());
    fill(folder, "2");
    const core::ResultFolder given_up(folder_ / "b/c/d", result());
  }
  EXPECT_EQ(names(), Names{"out"});
  EXPECT_EQ(core::read_file(out() / "fit.json"), "1");
}

TEST_F(ResultFolders, AnEarlierResultGivesWayOnlyWhenAskedTo) {
  ASSERT_EQ(run(out(), result()), "");
  refused(out(), result(false), "--replace");
  fs::permissions(out(), fs::perms(0750));
  EXPECT_EQ(run(out() / "", result(), "2"), "");  // a slash at its end is no other folder
  EXPECT_EQ(core::read_file(out() / "scan" / "cameras.json"), "cameras 2");
  EXPECT_EQ(fs::status(out()).permissions(), fs::perms(0750));
  EXPECT_EQ(names(), Names{"out"});
}

TEST_F(ResultFolders, AnythingElseInTheFolderStays) {
  ASSERT_EQ(run(out(), result()), "");
  const auto with = [&](const fs::path& entry, const std::string& part) {
    refused(out(), result(), part);
    EXPECT_TRUE(fs::exists(fs::symlink_status(entry)));
    fs::remove_all(entry);
  };
  put(out() / "photos" / "a.jpg", "mine");
  with(out() / "photos", "photos was not written by it");
  put(out() / "scan" / "notes.txt", "mine");
  with(out() / "scan" / "notes.txt", "scan/notes.txt was not written by it");
  fs::create_directory(out() / "empty");
  with(out() / "empty", "empty was not written");
  fs::create_symlink("/nowhere", out() / "link");
  with(out() / "link", "link was not written");
  put(out() / "a\nb", "mine");
  with(out() / "a\nb", "a\\x0ab was not written");
  EXPECT_EQ(run(out(), result()), "");
}

TEST_F(ResultFolders, WhatWasChangedStays) {
  ASSERT_EQ(run(out(), result()), "");
  put(out() / "fit.json", "with my notes");
  refused(out(), result(), "fit.json was changed since it was written");
  put(out() / "fit.json", "2");  // of the same length
  refused(out(), result(), "fit.json was changed");
  put(out() / "fit.json", "{\"format\": \"interstice-fit\"}");  // by `fit --out out/fit.json`
  EXPECT_EQ(run(out(), result()), "");
  fs::rename(out() / "scan", folder_ / "scan");
  fs::create_directory_symlink(folder_ / "scan", out() / "scan");
  refused(out(), result(), "scan was not written by it");
  EXPECT_EQ(names(folder_ / "scan"), Names{"cameras.json"});
}

TEST_F(ResultFolders, AnotherPieceAnotherCommandAndOlderResultsStay) {
  ASSERT_EQ(run(out(), result()), "");
  refused(out(), {"inspect", "reed bowl", true, {}}, "another piece, marsh bowl");
  refused(out(), {"scan", "marsh bowl", true, {}}, "a result of inspect");
  put(folder_ / "old" / "fit.json", "{\"format\": \"interstice-fit\"}");
  refused(folder_ / "old", result(), "holds fit.json and no result.json");
  put(folder_ / "forged" / "result.json", "{\"format\": \"interstice-result\", \"version\": 2}");
  refused(folder_ / "forged", result(), "holds something that is no result");
  put(folder_ / "mine", "file");
  refused(folder_ / "mine", result(), "is a file");
  EXPECT_NE(run(folder_ / "mine" / "x", result()), "");
}

TEST_F(ResultFolders, InputsStay) {
  ASSERT_EQ(run(out(), result()), "");
  put(folder_ / "photos" / "a.jpg", "photo");
  refused(folder_ / "photos", result(true, {folder_ / "photos"}), "is read by this run");
  refused(out(), result(true, {out() / "fit.json"}), "holds fit.json, which this run reads");
  fs::create_directory_symlink(out() / "scan", folder_ / "link");
  refused(out(), result(true, {folder_ / "link"}), "holds scan, which this run reads");
  fs::create_hard_link(out() / "fit.json", folder_ / "plan.json");
  refused(out(), result(true, {folder_ / "plan.json"}), "fit.json is read by this run");
  EXPECT_EQ(run(folder_ / "photos" / "result", result(true, {folder_ / "photos"})), "");
  EXPECT_EQ(run(folder_ / "photos" / "result", result(true, {folder_ / "photos"})), "");
  EXPECT_EQ(core::read_file(folder_ / "photos" / "a.jpg"), "photo");
}

TEST_F(ResultFolders, DotsAndLinks) {
  fs::create_directories(folder_ / "x");
  EXPECT_EQ(run(folder_ / "x" / ".." / "y" / ".", result()), "");
  fs::create_directory_symlink("y", folder_ / "to_y");
  EXPECT_EQ(run(folder_ / "to_y", result(), "2"), "");
  EXPECT_TRUE(fs::is_symlink(folder_ / "to_y"));
  EXPECT_EQ(core::read_file(folder_ / "y" / "fit.json"), "2");
  fs::create_directory_symlink("nowhere", folder_ / "dangling");
  refused(folder_ / "dangling", result(), "a link that leads nowhere");
  fs::create_directory_symlink("loop", folder_ / "loop");
  refused(folder_ / "loop", result(), "a link that leads nowhere");
  EXPECT_NE(run(folder_ / "dangling" / "x", result()), "");
  refused(folder_ / "no" / ".." / "z", result(), "there is no folder");
  refused(folder_ / "y" / "fit.json" / ".." / "z", result(), "there is no folder");
  refused("/", result(), "a disk begins");
  refused("/proc", result(), "a disk begins");
  const fs::path here = fs::current_path();
  fs::current_path(folder_ / "y" / "scan");
  for (const char* name : {".", "..", "../.", "./", "../../y"})
    refused(name, result(), "the folder you are in");
  fs::current_path(here);
  EXPECT_EQ(names(folder_ / "y"), kResult);
}

TEST_F(ResultFolders, WhatComesMeanwhileStaysAndTheResultIsKeptBesideIt) {
  const auto meanwhile = [&](const std::function<void()>& change) {
    return line_of([&] {
      core::ResultFolder folder(out(), result());
      fill(folder, "new");
      change();
      folder.commit();
    });
  };
  std::string line = meanwhile([&] { put(out() / "notes.txt", "mine"); });
  EXPECT_TRUE(says(line, "the new result is kept as " + out().string() + "-new")) << line;
  EXPECT_EQ(names(folder_ / "out-new"), kResult);
  EXPECT_EQ(names(out()), Names{"notes.txt"});
  fs::remove_all(out());
  line = meanwhile([&] { put(out(), "mine"); });
  EXPECT_TRUE(says(line, "kept as " + out().string() + "-new-2")) << line;
  fs::remove(out());
  line = meanwhile([&] { fs::create_symlink("/nowhere", out()); });
  EXPECT_TRUE(says(line, "-new-3")) << line;
  fs::remove(out());
  ASSERT_EQ(run(out(), result(), "earlier"), "");
  line = meanwhile([&] { put(out() / "scan" / "a.jpg", "mine"); });
  EXPECT_TRUE(says(line, "scan/a.jpg was not written by it")) << line;
  EXPECT_EQ(core::read_file(out() / "fit.json"), "earlier");
  fs::remove(out() / "scan" / "a.jpg");
  EXPECT_EQ(meanwhile([&] { fs::remove_all(out()); }), "");
  EXPECT_EQ(meanwhile([&] { fs::rename(out(), folder_ / "saved"); }), "");
  EXPECT_EQ(names(), (Names{"out", "out-new", "out-new-2", "out-new-3", "out-new-4", "saved"}));
}

TEST_F(ResultFolders, NamesAreLookedAtBeforeAnyWork) {
  std::string longest;
  for (int i = 0; i < 119; ++i) longest += "ж";
  EXPECT_EQ(run(folder_ / longest, result()), "");
  EXPECT_EQ(run(folder_ / longest, result()), "");
  refused(folder_ / (longest + longest), result(), "too long");
  EXPECT_EQ(names(), Names{longest});
  // Kept aside under a shorter name where "-new" does not fit any more.
  longest += "0123456789abcdef";
  const std::string line = line_of([&] {
    core::ResultFolder folder(folder_ / longest, result());
    fill(folder, "new");
    put(folder_ / longest / "mine", "mine");
    folder.commit();
  });
  EXPECT_TRUE(says(line, "kept as " + (folder_ / "interstice-new").string())) << line;
}

TEST_F(ResultFolders, NamesOfOtherBytesAreListed) {
  const auto write = [&] {
    core::ResultFolder folder(out(), result());
    core::write_new_file(folder.work() / "f\xfcnf %41.jpg", "1");
    folder.commit();
  };
  write();
  write();
  EXPECT_EQ(names(out()), (Names{"f\xfcnf %41.jpg", "result.json"}));
}

TEST_F(ResultFolders, ForgedListsLeadNowhere) {
  put(folder_ / "mine", "mine");
  for (const char* path : {"../mine", "/etc/passwd", "a/../../mine", "", ".", "a//b", "a/"}) {
    const std::string text = std::string(
                                 "{\"format\":\"interstice-result\",\"version\":1,\"command\":\"inspect\","
                                 "\"piece\":\"marsh bowl\",\"files\":[{\"path\":\"") +
                             path + "\",\"bytes\":4,\"sha256\":\"\"}]}";
    EXPECT_THROW(core::parse_result_list(text, "result.json"), core::InputError) << path;
    put(out() / "result.json", text);
    refused(out(), result(), "no path within the folder");
  }
  EXPECT_FALSE(core::remove_listed(out()));
  EXPECT_EQ(core::read_file(folder_ / "mine"), "mine");
}

TEST_F(ResultFolders, OnlyWhatIsListedAndAsWrittenIsRemoved) {
  ASSERT_EQ(run(out(), result()), "");
  put(out() / "scan" / "mine", "mine");
  put(out() / "fit.json", "edited");
  EXPECT_FALSE(core::remove_listed(out()));
  EXPECT_EQ(names(out()), kResult);
  EXPECT_EQ(names(out() / "scan"), Names{"mine"});
  fs::remove(out() / "scan" / "mine");
  fs::remove(out() / "fit.json");
  EXPECT_TRUE(core::remove_listed(out()));
  EXPECT_EQ(names(), Names{});
}

}  // namespace
}  // namespace interstice
