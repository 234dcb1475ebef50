// Whether chi-squared of so many numbers is more than noise has: its mean is n, its standard deviation sqrt(2 n). Unit-free.
#pragma once

#include <cmath>

namespace interstice::core {

inline bool more_than_noise(double chi_squared, double n) {
  return chi_squared > n + 3 * std::sqrt(2 * n);
}

}  // namespace interstice::core
