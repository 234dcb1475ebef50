// The middle value: of an even number of values the upper of the two in the middle; 0 of none. Unit-free.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace interstice::core {

inline double median(std::vector<double> x) {
  if (x.empty()) return 0;
  const auto middle = x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2);
  std::nth_element(x.begin(), middle, x.end());
  return *middle;
}

// Standard deviation of normal deviates by their median size: 0.6745 is the median of |N(0, 1)|. Hardly moved
// by mistakes among them.
inline double robust_sd(std::vector<double> sizes) {
  return median(std::move(sizes)) / 0.6745;
}

// The same of deviates about `middle`.
inline double robust_sd_about(std::vector<double> x, double middle) {
  for (double& v : x) v = std::abs(v - middle);
  return robust_sd(std::move(x));
}

}  // namespace interstice::core
