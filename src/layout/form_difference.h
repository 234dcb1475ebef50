// How far one form is from another.
#pragma once

#include <vector>

#include "geometry/profile.h"

namespace interstice::layout {

// A form turned to a drawing leaves it by up to about a millimetre (common practice, no source); twice that,
// and it is another form or another unit.
inline constexpr double kFits_mm = 2.0;

struct FormDifference {
  double worst_mm = 0;  // of the measured form from the drawn one, along its normal; negative: lies inside
  double worst_z_mm = 0;
  double rms_mm = 0;
  double rim_mm = 0, height_mm = 0;  // measured less drawn: rim's diameter, height
  bool fits() const { return worst_mm < kFits_mm && worst_mm > -kFits_mm; }
};

// Rim planes and axes on each other. `counts`: one a point of the measured profile, whether it was seen
// (empty: all were).
FormDifference form_difference(const geometry::Profile& measured, const std::vector<char>& counts,
                               const geometry::Profile& drawn);

}  // namespace interstice::layout
