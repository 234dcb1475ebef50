// Observations that cannot be right are thrown out of an adjustment.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

#include "scan/bundle.h"

namespace interstice::scan {

// Residuals beyond this many robust standard deviations are mistakes.
inline constexpr double kReject = 4.5;

// Drops them; `factor`: the robust size of residuals in units of their standard deviations. How many went.
template <class Observation>
std::size_t reject_mistakes(const Bundle& bundle, std::vector<Observation>& observations, double factor) {
  const auto bad = [&](const Observation& o) {
    const Eigen::Vector2d r = residual(bundle, o);
    return !(r.norm() < kReject * std::max(0.5, factor) * o.sd_px);
  };
  const std::size_t before = observations.size();
  observations.erase(std::remove_if(observations.begin(), observations.end(), bad), observations.end());
  return before - observations.size();
}

}  // namespace interstice::scan
