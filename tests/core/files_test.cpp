// Files and folders appear whole or not at all, and nothing that is not ours is touched.
#include "core/files.h"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <fstream>
#include <set>
#include <thread>

#include "core/errors.h"
#include "core/result_folder.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

class Files : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::path(testing::TempDir()) / ("interstice_files_" + std::to_string(::getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  std::set<std::string> names(const fs::path& in) const {
    std::set<std::string> out;
    for (const auto& entry : fs::directory_iterator(in)) out.insert(entry.path().filename());
    return out;
  }
  std::set<std::string> names() const { return names(folder_); }
  void put(const fs::path& path, const std::string& text) { std::ofstream(path) << text; }

  fs::path folder_;
};

using Names = std::set<std::string>;

TEST_F(Files, WrittenWhole) {
  const std::string bytes("a\0b\n\xff", 5);
  core::write_file_atomically(folder_ / "x", bytes);
  EXPECT_EQ(core::read_file(folder_ / "x"), bytes);
  core::write_file_atomically(folder_ / "x", "");
  EXPECT_EQ(core::read_file(folder_ / "x"), "");
  EXPECT_EQ(names(), Names{"x"});
}

TEST_F(Files, ANewFileTakesNothingsPlace) {
  core::write_new_file(folder_ / "x", "bytes");
  EXPECT_EQ(core::read_file(folder_ / "x"), "bytes");
  EXPECT_THROW(core::write_new_file(folder_ / "x", "others"), core::InputError);
  fs::create_symlink("elsewhere", folder_ / "y");
  EXPECT_THROW(core::write_new_file(folder_ / "y", "others"), core::InputError);
  EXPECT_EQ(core::read_file(folder_ / "x"), "bytes");
  EXPECT_EQ(names(), (Names{"x", "y"}));
}

TEST_F(Files, CannotBeWritten) {
  EXPECT_THROW(core::write_file_atomically(folder_ / "no" / "x", "a"), core::InputError);
  fs::create_directory(folder_ / "d");
  put(folder_ / "d" / "mine", "1");
  EXPECT_THROW(core::write_file_atomically(folder_ / "d", "a"), core::InputError);
  EXPECT_EQ(names(), Names{"d"});
  EXPECT_EQ(names(folder_ / "d"), Names{"mine"});
  EXPECT_THROW(core::write_file_atomically(folder_ / "d" / "mine" / "x", "a"), core::InputError);
  EXPECT_THROW(core::write_file_atomically(folder_ / std::string(300, 'x'), "a"), core::InputError);
}

// The write is cut off by a limit on file size: what stood there stays, no part is left.
TEST_F(Files, ADiskThatFillsUpLosesNothing) {
  put(folder_ / "x", "old");
  const pid_t child = ::fork();
  if (child == 0) {
    std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{1000, 1000};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    try {
      core::write_file_atomically(folder_ / "x", std::string(5000, 'n'));
    } catch (const core::InputError&) {
      ::_exit(7);
    }
    ::_exit(0);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  EXPECT_EQ(WEXITSTATUS(status), 7);
  EXPECT_EQ(core::read_file(folder_ / "x"), "old");
  EXPECT_EQ(names(), Names{"x"});
}

// A reader that looks all the time sees one of the contents, whole.
TEST_F(Files, ReadersSeeOldOrNew) {
  const std::string a(300000, 'a'), b(300000, 'b');
  core::write_file_atomically(folder_ / "x", a);
  std::atomic<bool> done{false};
  std::thread writer([&] {
    for (int i = 0; i < 20; ++i) core::write_file_atomically(folder_ / "x", i % 2 ? a : b);
    done = true;
  });
  while (!done) {
    const std::string seen = core::read_file(folder_ / "x");
    EXPECT_TRUE(seen == a || seen == b);
  }
  writer.join();
}

TEST_F(Files, ALinkStaysALink) {
  fs::create_directory(folder_ / "elsewhere");
  put(folder_ / "elsewhere" / "real", "old");
  fs::create_symlink("elsewhere/real", folder_ / "x");
  core::write_file_atomically(folder_ / "x", "new");
  EXPECT_TRUE(fs::is_symlink(folder_ / "x"));
  EXPECT_EQ(core::read_file(folder_ / "elsewhere" / "real"), "new");
  EXPECT_EQ(names(folder_ / "elsewhere"), Names{"real"});
  fs::create_symlink("elsewhere/later", folder_ / "y");  // points at nothing yet
  core::write_file_atomically(folder_ / "y", "new");
  EXPECT_EQ(core::read_file(folder_ / "elsewhere" / "later"), "new");
  fs::create_symlink("z", folder_ / "z");  // at itself
  EXPECT_THROW(core::write_file_atomically(folder_ / "z", "new"), core::InputError);
}

// `--out /dev/stdout`, a named pipe: written to, never replaced by a file.
TEST_F(Files, APipeStaysAPipe) {
  ASSERT_EQ(::mkfifo((folder_ / "pipe").c_str(), 0600), 0);
  const int reader = ::open((folder_ / "pipe").c_str(), O_RDONLY | O_NONBLOCK);
  core::write_file_atomically(folder_ / "pipe", "bytes");
  char got[16] = {};
  EXPECT_EQ(::read(reader, got, sizeof got), 5);
  EXPECT_STREQ(got, "bytes");
  ::close(reader);
  EXPECT_EQ(fs::status(folder_ / "pipe").type(), fs::file_type::fifo);
  EXPECT_EQ(names(), Names{"pipe"});
}

TEST_F(Files, ReadOnlyFolderIsRefused) {
  fs::create_directory(folder_ / "d");
  put(folder_ / "d" / "x", "old");
  fs::permissions(folder_ / "d", fs::perms(0555));
  const bool root = ::geteuid() == 0;  // for whom no folder is read-only: become nobody for a while
  ASSERT_EQ(root ? ::seteuid(65534) : 0, 0);
  EXPECT_THROW(core::write_file_atomically(folder_ / "d" / "x", "new"), core::InputError);
  EXPECT_THROW(core::ResultFolder(folder_ / "d" / "out", {"scan", "bowl"}), core::InputError);
  ASSERT_EQ(root ? ::seteuid(0) : 0, 0);
  EXPECT_EQ(core::read_file(folder_ / "d" / "x"), "old");
  EXPECT_EQ(names(folder_ / "d"), Names{"x"});
  fs::permissions(folder_ / "d", fs::perms::owner_all);
}

}  // namespace
}  // namespace interstice
