// What seams would be measured to be once some pieces have been changed. Bowl frame, mm.
#pragma once

#include <cstddef>
#include <set>

#include "geometry/profile.h"
#include "seams/fit_document.h"

namespace interstice::rework {

// Measures anew the seams of the changed pieces (places in `tiles`) of `after`, a copy of `before` with other
// outlines: mouths, throats within the finished wall, lengths and verdicts. What was stated shifts by what the
// outlines changed; uncertainties are taken over from the nearest place.
void remeasure_seams(const seams::FitDocument& before, const geometry::Profile& form,
                     const std::set<std::size_t>& changed, int threads, seams::FitDocument& after);

}  // namespace interstice::rework
