// How far from round a measured form is, where it stands out, and what was not seen of it.
//
// Roundness is told along the normal as the difference between the highest and the lowest place of a ring
// about the ring's own axis (ISO 12181-1: peak-to-valley deviation; here of the smooth part, up to four waves
// round the ring). Bumps are what is left after it.
#pragma once

#include "form/height_model.h"
#include "form/shape.h"

namespace interstice::form {

// Fills in everything of `shape` but profile, heights, scatter and u95. The heights and the model are over
// `base`, of which shape.profile is the corrected form; cells within `rim_band_mm` of the rim do not count.
void describe_roundness(const HeightModel& model, const geometry::Profile& base, double rim_band_mm,
                        Shape& shape);

}  // namespace interstice::form
