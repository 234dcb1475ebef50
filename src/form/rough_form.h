// A bare form on the bench, found without a drawing: where its axis stands and what its meridian is, roughly.
//
// Model: a surface of revolution, axis upright (the form stands on its rim), on which most of the points lie;
// others are mistaken matches. Frame `level` (z = 0 in the plane of the cards, z up), mm. The axis is the
// place over the bench about which the points, taken as (r, z), crowd most; the meridian a smooth curve
// through them, seen from a point of the axis from which it is star-shaped, level at the pole, and gone on with
// straight to the bench. Good to about a millimetre; form/shape.h measures. Errors: MeasureError when
// there are too few points or they lie on no such form.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "geometry/profile.h"

namespace interstice::form {

struct RoughForm {
  geometry::Profile profile;  // rim on the plane of the cards
  Eigen::Vector2d axis_mm{0, 0};
  std::size_t points = 0;  // that lie on it
};

// `near`: what the photos look at; `reach_mm`: no part of the form is farther from there.
RoughForm find_rough_form(const std::vector<Eigen::Vector3d>& points, const Eigen::Vector2d& near,
                          double reach_mm);

}  // namespace interstice::form
