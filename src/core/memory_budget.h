// Memory that threads share while each does something large: who asks for more than is left waits for the
// others.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <mutex>

namespace interstice::core {

class MemoryBudget {
 public:
  explicit MemoryBudget(std::uint64_t bytes) : bytes_(bytes) {}

  // A share, given back at its end. Nobody asks for a second one while holding the first.
  class Share {
   public:
    // Waits until `bytes` are left, or nobody else holds a share: what is larger than the whole goes alone.
    Share(MemoryBudget& budget, std::uint64_t bytes);
    ~Share();
    Share(const Share&) = delete;
    Share& operator=(const Share&) = delete;

   private:
    MemoryBudget& budget_;
    std::uint64_t taken_;
  };

 private:
  std::mutex mutex_;
  std::condition_variable given_back_;
  std::uint64_t bytes_, used_ = 0;
};

// A quarter of what this process may use: of the machine's memory, of limits set for the process (setrlimit)
// and of its control group's; at most 4 GiB.
std::uint64_t memory_for_decoding();

}  // namespace interstice::core
