// Hidden folders of our own are told from everybody else's, and cleared away when nobody is at work in them.
#include "core/temporary.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/wait.h>

#include "core/own_folder.h"
#include "core/result_folder.h"

namespace interstice {
namespace {

class Temporaries : public OwnFolder {
 protected:
  // What a process leaves that is killed while it holds a Temporary.
  template <class Work>
  void killed(Work work) const {
    const pid_t child = ::fork();
    if (child == 0) {
      work();
      ::_exit(0);  // no destructor runs
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    EXPECT_EQ(status, 0);
  }
  fs::path left() const {
    for (const std::string& name : names()) {
      if (core::is_temporary_name(name)) return folder_ / name;
    }
    return {};
  }
};

TEST_F(Temporaries, OtherNamesAreNobodysBusiness) {
  const Names users{".plan.json.20260314.old",       ".x.99999999.part", ".interstice-",
                    ".interstice-1234abcd-5678abcd", "interstice-new",   ".interstice-backup"};
  for (const std::string& name : users) {
    EXPECT_FALSE(core::is_temporary_name(name)) << name;
    put(folder_ / name / "new" / "mine", "mine");
  }
  { const core::Temporary temporary(folder_, "x"); }
  core::clear_leftovers(folder_);
  EXPECT_EQ(names(), users);
  for (const std::string& name : users) EXPECT_EQ(names(folder_ / name / "new"), Names{"mine"});
}

TEST_F(Temporaries, WhatAKilledProcessLeftIsClearedAway) {
  killed([&] {
    auto* temporary = new core::Temporary(folder_, "x");
    put(temporary->fresh(), "half");
  });
  ASSERT_FALSE(left().empty());
  core::clear_leftovers(folder_);
  EXPECT_EQ(names(), Names{});
}

TEST_F(Temporaries, WhatSomebodyIsAtWorkInStays) {
  const core::Temporary mine(folder_, "x");
  put(mine.fresh(), "half");
  { const core::Temporary other(folder_, "x"); }
  core::clear_leftovers(folder_);
  EXPECT_EQ(core::read_file(mine.fresh()), "half");
}

TEST_F(Temporaries, AFileOrLinkOfSuchANameStays) {
  killed([&] { new core::Temporary(folder_, "x"); });
  const fs::path name = left();
  fs::remove_all(name);
  put(folder_ / "mine" / "new" / "x", "mine");
  fs::create_directory_symlink("mine", name);
  core::clear_leftovers(folder_);
  EXPECT_TRUE(fs::exists(folder_ / "mine" / "new" / "x"));
  fs::remove(name);
  put(name, "mine");
  core::clear_leftovers(folder_);
  EXPECT_EQ(core::read_file(name), "mine");
}

// Killed between moving the earlier result aside and naming the new one: the earlier one comes back.
TEST_F(Temporaries, AnEarlierResultMovedAsideComesBack) {
  killed([&] {
    auto* temporary = new core::Temporary(folder_, "r");
    put(temporary->fresh() / "result.json", "{}");
    temporary->begin_change();
    temporary->make_aside();
    put(temporary->aside() / "fit.json", "earlier");
  });
  { const core::ResultFolder other(folder_ / "other", {"scan", "bowl"}); }
  EXPECT_EQ(core::read_file(folder_ / "r" / "fit.json"), "earlier");
}

// Killed after the names were exchanged: what was replaced goes as far as it is ours; the rest comes out
// under a plain name.
TEST_F(Temporaries, WhatWasReplacedGoesOnlyIfItIsOurs) {
  for (const bool touched : {false, true}) {
    {
      core::ResultFolder folder(folder_ / "r", {"scan", "bowl"});
      core::write_new_file(folder.work() / "cameras.json", "{}");
      folder.commit();
    }
    killed([&] {
      auto* temporary = new core::Temporary(folder_, "r");
      fs::rename(folder_ / "r", temporary->fresh());
      if (touched) put(temporary->fresh() / "notes.txt", "mine");
      temporary->begin_change();
    });
    put(folder_ / "r" / "cameras.json", "the new one");
    core::clear_leftovers(folder_);
    EXPECT_EQ(names(), touched ? (Names{"r", "r-earlier"}) : Names{"r"});
    fs::remove_all(folder_ / "r");
  }
  EXPECT_EQ(names(folder_ / "r-earlier"), (Names{"notes.txt", "result.json"}));
}

TEST_F(Temporaries, WhatIsKeptIsNeverCleared) {
  killed([&] {
    auto* temporary = new core::Temporary(folder_, "r");
    put(temporary->fresh() / "fit.json", "result");
    temporary->keep();
  });
  const fs::path holder = left();
  core::clear_leftovers(folder_);
  EXPECT_EQ(core::read_file(holder / "kept" / "r" / "fit.json"), "result");
}

TEST_F(Temporaries, WhatIsUnderWayIsRemovedOnAStop) {
  put(folder_ / "mine", "kept");
  const core::ResultFolder folder(folder_ / "r", {"scan", "bowl"});
  put(folder.work() / "mark", "half");
  EXPECT_EQ(names().size(), 2u);
  core::remove_unfinished();
  EXPECT_EQ(names(), Names{"mine"});
}

}  // namespace
}  // namespace interstice
