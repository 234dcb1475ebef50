// The middle value: of an even number of values the upper of the two in the middle; 0 of none. Unit-free.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace interstice {

inline double median(std::vector<double> x) {
  if (x.empty()) return 0;
  const auto middle = x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2);
  std::nth_element(x.begin(), middle, x.end());
  return *middle;
}

}  // namespace interstice
