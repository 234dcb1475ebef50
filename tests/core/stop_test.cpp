// Told to stop at work, and files that are none.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <thread>

#include "core/errors.h"
#include "core/files.h"
#include "core/on_stop.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

TEST(OnStop, UndoesWhatIsUnderWayLastFirst) {
  const pid_t child = ::fork();  // nothing goes on after a stop
  if (child == 0) {
    std::string done;
    const core::OnStop first([&] { done += "1"; });
    {
      const core::OnStop over([&] { done += "x"; });
    }
    const core::OnStop second([&] { done += "2"; });
    core::undo_on_stop();
    ::_exit(done == "21" ? 0 : 1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  EXPECT_EQ(WEXITSTATUS(status), 0);
}

// What is being undone must not go on beside it: no second line about a failure that the stop brought about.
TEST(OnStop, WorkWaitsForTheEnd) {
  const pid_t child = ::fork();
  if (child == 0) {
    std::thread([] {
      std::this_thread::sleep_for(std::chrono::milliseconds(50));
      core::undo_on_stop();
      std::this_thread::sleep_for(std::chrono::milliseconds(150));
      ::_exit(3);
    }).detach();
    {
      const core::OnStop stop([] {});
      std::this_thread::sleep_for(std::chrono::milliseconds(100));
    }
    ::_exit(4);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  EXPECT_EQ(WEXITSTATUS(status), 3);
}

TEST(ReadFile, PipesAndDevicesAreRefusedNotWaitedFor) {
  const fs::path pipe = fs::path(testing::TempDir()) / ("interstice_pipe_" + std::to_string(::getpid()));
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  for (const fs::path& path : {pipe, fs::path("/dev/zero"), fs::path("/dev/null")}) {
    try {
      core::read_file(path);
      ADD_FAILURE() << path;
    } catch (const core::InputError& e) {
      EXPECT_EQ(e.what(), path.string() + ": is a pipe or a device, a file is needed");
    }
  }
  fs::remove(pipe);
}

}  // namespace
}  // namespace interstice
