// Shared memory: never more taken at once than there is, unless by one alone; everybody gets through.
#include "core/memory_budget.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>

#include "core/parallel.h"

namespace interstice {
namespace {

TEST(MemoryBudget, NeverMoreAtOnceThanThereIs) {
  core::MemoryBudget budget(100);
  std::atomic<int> used{0}, most{0}, done{0};
  core::parallel_for(400, 8, [&](std::size_t i) {
    const int bytes = 10 + static_cast<int>(i % 5) * 15;
    const core::MemoryBudget::Share share(budget, static_cast<std::uint64_t>(bytes));
    const int now = used += bytes;
    for (int before = most; before < now && !most.compare_exchange_weak(before, now);) {
    }
    ++done;
    used -= bytes;
  });
  EXPECT_EQ(done, 400);
  EXPECT_LE(most, 100);
}

TEST(MemoryBudget, WhatIsLargerThanAllGoesAlone) {
  core::MemoryBudget budget(100);
  std::atomic<int> inside{0};
  bool alone = true;
  core::parallel_for(40, 4, [&](std::size_t) {
    const core::MemoryBudget::Share share(budget, 5000);
    if (++inside > 1) alone = false;
    --inside;
  });
  EXPECT_TRUE(alone);
}

TEST(MemoryBudget, KeepsToTheMachine) {
  EXPECT_GT(core::memory_for_decoding(), std::uint64_t{1} << 20);
  EXPECT_LE(core::memory_for_decoding(), std::uint64_t{4} << 30);
}

// In a process of its own: a limit once lowered stays.
TEST(MemoryBudget, KeepsToALimitSetForTheProcess) {
  const pid_t child = ::fork();
  if (child == 0) {
    const rlimit limit{std::uint64_t{600} << 20, std::uint64_t{600} << 20};
    const bool set = ::setrlimit(RLIMIT_DATA, &limit) == 0;
    ::_exit(set && core::memory_for_decoding() == std::uint64_t{150} << 20 ? 0 : 1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0) << status;
}

}  // namespace
}  // namespace interstice
