// Nearest points of segments and triangles. Any frame, mm.
#pragma once

#include <Eigen/Core>

namespace interstice::solid {

struct OnTriangle {
  Eigen::Vector3d point;
  double squared;  // distance
  double b, c;     // weights of the second and third corner
};

// Nearest point of triangle x y z: the foot of the perpendicular if it falls inside, else the nearest edge's.
OnTriangle nearest_on_triangle(const Eigen::Vector3d& p, const Eigen::Vector3d& x, const Eigen::Vector3d& y,
                               const Eigen::Vector3d& z);

// Where along the segment its nearest point lies, 0 to 1; 0 on a segment without length.
double along_segment(const Eigen::Vector3d& p, const Eigen::Vector3d& from, const Eigen::Vector3d& to);

}  // namespace interstice::solid
