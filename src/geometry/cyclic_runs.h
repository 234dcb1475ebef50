// Runs of equal values round a closed outline: the points of one side, of one neighbour.
#pragma once

#include <cstddef>
#include <vector>

namespace interstice::geometry {

template <class Value>
struct CyclicRun {
  std::size_t first, count;  // of the points, going round
  Value value;
};

// In order, beginning at the first point that differs from the one before it; one run from point 0 where all are
// equal, none where there are no points.
template <class Value>
std::vector<CyclicRun<Value>> cyclic_runs(const std::vector<Value>& values) {
  const std::size_t n = values.size();
  std::size_t start = 0;
  while (start < n && values[start] == values[(start + n - 1) % n]) ++start;
  if (start == n) start = 0;
  std::vector<CyclicRun<Value>> runs;
  for (std::size_t k = 0; k < n; ++k) {
    const std::size_t i = (start + k) % n;
    if (runs.empty() || values[i] != runs.back().value) runs.push_back({i, 0, values[i]});
    ++runs.back().count;
  }
  return runs;
}

}  // namespace interstice::geometry
