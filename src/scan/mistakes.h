// Observations that cannot be right are thrown out of an adjustment.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

#include "scan/bundle.h"

namespace interstice::scan {

// Residuals beyond this many robust standard deviations are mistakes.
inline constexpr double kReject = 4.5;

// `factor`: the robust size of residuals in units of their standard deviations.
template <class Observation>
bool is_mistake(const Bundle& bundle, const Observation& o, double factor) {
  return !(residual(bundle, o).norm() < kReject * std::max(0.5, factor) * o.sd_px);
}

// Drops them and returns them, both in their order.
template <class Observation>
std::vector<Observation> reject_mistakes(const Bundle& bundle, std::vector<Observation>& observations,
                                         double factor) {
  const auto mistaken = std::stable_partition(observations.begin(), observations.end(),
                                              [&](const auto& o) { return !is_mistake(bundle, o, factor); });
  std::vector<Observation> out(mistaken, observations.end());
  observations.erase(mistaken, observations.end());
  return out;
}

}  // namespace interstice::scan
