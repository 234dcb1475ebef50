// Work shared over threads with results that do not depend on how many there are.
#pragma once

#include <cstddef>
#include <functional>

namespace interstice::core {

// Calls work(i) for i in [0, count), each exactly once, on up to `threads` threads (0: as many as there are
// processors). work must write only to places owned by i. The exception of the smallest failing i is
// rethrown after all threads have stopped.
void parallel_for(std::size_t count, int threads, const std::function<void(std::size_t)>& work);

// The number of threads that `requested` (0: all processors) stands for.
int thread_count(int requested);

}  // namespace interstice::core
