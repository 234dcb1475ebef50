// Printing with a browser that does not do what it should: in time, and nothing of it stays.
#include "report/print_pdf.h"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <thread>
#include <vector>

#include "core/errors.h"
#include "core/on_stop.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

// A `chromium` of the test's own first on the PATH; temporary files go into its folder.
class Printing : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("interstice_print_" + std::to_string(::getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_ / "tmp");
    path_ = std::getenv("PATH");
    ::setenv("PATH", (folder_.string() + ":" + path_).c_str(), 1);
    ::setenv("TMPDIR", (folder_ / "tmp").c_str(), 1);
  }
  void TearDown() override {
    ::setenv("PATH", path_.c_str(), 1);
    ::unsetenv("TMPDIR");
    fs::remove_all(folder_);
  }
  void browser(const std::string& script) {
    std::ofstream(folder_ / "chromium") << "#!/bin/sh\n" << script << "\n";
    ::chmod((folder_ / "chromium").c_str(), 0755);
  }
  std::string pids() const { return (folder_ / "pids").string(); }
  // It and a program that it started, both at work for minutes.
  void hanging_browser() { browser("sleep 200 & echo $! $$ > " + pids() + "; wait"); }

  std::vector<pid_t> started() const {
    std::vector<pid_t> out;
    for (int tries = 0; tries < 200 && out.size() < 2; ++tries, std::this_thread::sleep_for(10ms)) {
      std::ifstream in(pids());
      out.clear();
      for (pid_t pid = 0; in >> pid;) out.push_back(pid);
    }
    return out;
  }
  static bool lives(pid_t pid) {
    for (int tries = 0; tries < 100; ++tries, std::this_thread::sleep_for(10ms)) {
      std::ifstream in("/proc/" + std::to_string(pid) + "/stat");
      std::string number, name, state;
      if (!(in >> number >> name >> state) || state == "Z") return false;  // dead, if not yet buried
    }
    return true;
  }
  std::string refused(std::chrono::milliseconds limit) {
    try {
      report::print_pdf("<p>page</p>", limit);
    } catch (const core::InputError& e) {
      return e.what();
    }
    return "";
  }

  fs::path folder_;
  std::string path_;
};

TEST_F(Printing, WhatItPrintsIsRead) {
  browser("for a; do case $a in --print-to-pdf=*) printf PDF%%%%EOF > \"${a#--print-to-pdf=}\";; esac; done");
  EXPECT_EQ(report::print_pdf("<p>page</p>"), "PDF%%EOF");
  browser("for a; do case $a in --print-to-pdf=*) printf PDF > \"${a#--print-to-pdf=}\";; esac; done");
  EXPECT_NE(refused(20s).find("cut the PDF short"), std::string::npos);
  EXPECT_TRUE(fs::is_empty(folder_ / "tmp"));
}

TEST_F(Printing, ABrowserThatHangsIsEnded) {
  hanging_browser();
  const auto start = std::chrono::steady_clock::now();
  EXPECT_NE(refused(500ms).find("has not printed the page"), std::string::npos);
  EXPECT_LT(std::chrono::steady_clock::now() - start, 100s);
  const std::vector<pid_t> all = started();
  ASSERT_EQ(all.size(), 2u);
  for (const pid_t pid : all) EXPECT_FALSE(lives(pid));
  EXPECT_TRUE(fs::is_empty(folder_ / "tmp"));
}

// What it leaves running when it ends by itself goes too.
TEST_F(Printing, NothingItStartedStays) {
  browser("sleep 200 & echo $! $$ > " + pids() + "; exit 3");
  EXPECT_NE(refused(60s).find("could not print"), std::string::npos);
  for (const pid_t pid : started()) EXPECT_FALSE(lives(pid));
}

TEST_F(Printing, NothingStaysAfterCtrlC) {
  hanging_browser();
  const pid_t child = ::fork();
  if (child == 0) {  // as the program does it: signals are taken by a thread of their own
    std::thread([&] {
      started();
      core::undo_on_stop();
      ::_exit(130);
    }).detach();
    refused(100s);
    ::_exit(1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  EXPECT_EQ(WEXITSTATUS(status), 130);
  const std::vector<pid_t> all = started();
  ASSERT_EQ(all.size(), 2u);
  for (const pid_t pid : all) EXPECT_FALSE(lives(pid));
  EXPECT_TRUE(fs::is_empty(folder_ / "tmp"));
}

TEST_F(Printing, WithoutABrowser) {
  ::setenv("PATH", folder_.c_str(), 1);
  EXPECT_NE(refused(60s).find("needs chromium"), std::string::npos);
}

}  // namespace
}  // namespace interstice
