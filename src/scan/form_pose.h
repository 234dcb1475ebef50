// Where the form stands on the bench.
//
// The form is a surface of revolution of known meridian standing rim down. Its axis is found from points
// measured on it: most lie on the pieces' faces (about the stock's thickness above the form) or on the bare
// form (height 0); bench and background points lie elsewhere and must not count. Frame `bench_level`: z = 0
// in the plane of the cards, z up. The turn about the axis is not found here (the pattern of pieces settles
// it later). The form stands on its rim: its axis is taken upright on the bench and its rim plane on it.
// Errors: MeasureError when no place on the bench explains enough points.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "geometry/profile.h"

namespace interstice::scan {

struct Seat {
  Eigen::Vector2d axis_mm{0, 0};  // where the axis meets the bench
  double face_mm = 0;             // typical height of points on faces above the form
  std::size_t points = 0;         // points explained
  double share = 0;               // of the points tried
};

// `near`: a point the photos look at; the axis is searched within the form's radius of it.
Seat find_seat(const std::vector<Eigen::Vector3d>& points, const geometry::Profile& profile,
               double thickness_mm, const Eigen::Vector2d& near, int threads = 0);

}  // namespace interstice::scan
