// Shared work: each index once, the first failure told, whatever the number of threads.
#include "core/parallel.h"

#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <mutex>
#include <set>
#include <stdexcept>
#include <string>
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

}  // namespace
}  // namespace interstice
