#include "core/memory_budget.h"

#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>

namespace interstice::core {

MemoryBudget::Share::Share(MemoryBudget& budget, std::uint64_t bytes)
    : budget_(budget), taken_(std::min(bytes, budget.bytes_)) {
  std::unique_lock lock(budget_.mutex_);
  budget_.given_back_.wait(lock, [&] { return budget_.used_ + taken_ <= budget_.bytes_; });
  budget_.used_ += taken_;
}

MemoryBudget::Share::~Share() {
  {
    const std::scoped_lock lock(budget_.mutex_);
    budget_.used_ -= taken_;
  }
  budget_.given_back_.notify_all();
}

std::uint64_t memory_for_decoding() {
  std::uint64_t most = std::uint64_t{16} << 30;
  const long pages = ::sysconf(_SC_PHYS_PAGES), page = ::sysconf(_SC_PAGESIZE);
  if (pages > 0 && page > 0)
    most = std::min(most, static_cast<std::uint64_t>(pages) * static_cast<std::uint64_t>(page));
  for (const auto which : {RLIMIT_AS, RLIMIT_DATA}) {
    rlimit limit{};
    if (::getrlimit(which, &limit) == 0 && limit.rlim_cur != RLIM_INFINITY)
      most = std::min<std::uint64_t>(most, limit.rlim_cur);
  }
  std::uint64_t group = 0;
  if (std::ifstream("/sys/fs/cgroup/memory.max") >> group && group > 0) most = std::min(most, group);
  return most / 4;
}

}  // namespace interstice::core
