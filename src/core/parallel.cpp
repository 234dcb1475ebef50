#include "core/parallel.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace interstice::core {

int thread_count(int requested) {
  if (requested > 0) return requested;
  return static_cast<int>(std::max(1u, std::thread::hardware_concurrency()));
}

void parallel_for(std::size_t count, int threads, const std::function<void(std::size_t)>& work) {
  std::atomic<std::size_t> next{0};
  std::mutex mutex;
  std::exception_ptr error;
  std::size_t error_at = count;
  const auto run = [&] {
    for (std::size_t i = next++; i < count; i = next++) {
      try {
        work(i);
      } catch (...) {
        const std::scoped_lock lock(mutex);
        if (i < error_at) {
          error_at = i;
          error = std::current_exception();
        }
      }
    }
  };
  const std::size_t n = std::min<std::size_t>(static_cast<std::size_t>(thread_count(threads)), count);
  std::vector<std::thread> helpers;
  try {
    for (std::size_t t = 1; t < n; ++t) helpers.emplace_back(run);
  } catch (const std::system_error&) {
    // The system starts no more threads (a limit on processes): those there are do the work.
  }
  run();
  for (std::thread& t : helpers) t.join();
  if (error) std::rethrow_exception(error);
}

}  // namespace interstice::core
