// Shared work: each index once, the first failure told, whatever the number of threads.
#include "core/parallel.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <mutex>
#include <set>
#include <stdexcept>
#include <string>
#include <system_error>
#include <thread>
#include <vector>

namespace interstice {
namespace {

TEST(Parallel, EachIndexOnce) {
  for (const int threads : {0, 1, 2, 7}) {
    for (const std::size_t count : {std::size_t{0}, std::size_t{1}, std::size_t{5}, std::size_t{1000}}) {
      std::vector<std::atomic<int>> calls(count);
      core::parallel_for(count, threads, [&](std::size_t i) { ++calls[i]; });
      for (const auto& n : calls) EXPECT_EQ(n, 1);
    }
  }
}

TEST(Parallel, UsesNoMoreThreadsThanAskedFor) {
  std::mutex mutex;
  std::set<std::thread::id> ids;
  core::parallel_for(64, 3, [&](std::size_t) {
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
    const std::scoped_lock lock(mutex);
    ids.insert(std::this_thread::get_id());
  });
  EXPECT_LE(ids.size(), 3u);
  EXPECT_GE(ids.size(), 2u);
}

TEST(Parallel, TheSmallestFailureIsRethrown) {
  for (const int threads : {1, 2, 5}) {
    for (int repetition = 0; repetition < 20; ++repetition) {
      std::string what;
      try {
        core::parallel_for(200, threads, [](std::size_t i) {
          if (i % 50 == 31) throw std::runtime_error(std::to_string(i));
        });
      } catch (const std::runtime_error& e) {
        what = e.what();
      }
      EXPECT_EQ(what, "31");
    }
  }
}

TEST(Parallel, ThreadCount) {
  EXPECT_EQ(core::thread_count(3), 3);
  EXPECT_GE(core::thread_count(0), 1);
}

// Where the system starts no more threads (a limit on processes), those there are do the work.
TEST(Parallel, WithoutMoreThreads) {
  const pid_t child = ::fork();
  if (child == 0) {
    // The limit does not hold for root: nobody (65534), then.
    const rlimit none{1, 1};
    if (::geteuid() == 0 && (::setgid(65534) != 0 || ::setuid(65534) != 0)) ::_exit(77);
    if (::setrlimit(RLIMIT_NPROC, &none) != 0) ::_exit(77);
    bool refused = false;
    try {
      std::thread([] {}).join();
    } catch (const std::system_error&) {
      refused = true;
    }
    if (!refused) ::_exit(77);
    std::atomic<int> calls{0};
    core::parallel_for(100, 8, [&](std::size_t) { ++calls; });
    ::_exit(calls == 100 ? 0 : 1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFEXITED(status));
  if (WEXITSTATUS(status) == 77) GTEST_SKIP() << "threads cannot be refused here";
  EXPECT_EQ(WEXITSTATUS(status), 0);
}

}  // namespace
}  // namespace interstice
