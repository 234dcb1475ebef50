// How far a point lies from a closed outline.
#pragma once

#include <algorithm>

#include "geometry/polygon.h"

namespace interstice::testing_layout {

inline double distance_to_outline(const geometry::Polygon& closed, const Eigen::Vector2d& p) {
  double best = 1e9;
  for (std::size_t i = 0; i < closed.size(); ++i) {
    const Eigen::Vector2d a = closed[i], e = closed[(i + 1) % closed.size()] - a;
    const double t = std::clamp((p - a).dot(e) / std::max(1e-12, e.squaredNorm()), 0.0, 1.0);
    best = std::min(best, (a + t * e - p).norm());
  }
  return best;
}

}  // namespace interstice::testing_layout
