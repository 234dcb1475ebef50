// A close bound of a stretch of wall. Any frame, mm.
#pragma once

#include <Eigen/Core>

namespace interstice::solid {

// All within `radius` of a line down the wall; squared_length 0: of its upper end.
struct WallBar {
  Eigen::Vector3d top, down;
  double squared_length, radius;
  bool beyond(const Eigen::Vector3d& p, double distance) const;  // surely no part of it is nearer
};

}  // namespace interstice::solid
