// What stands at the two ends of a seam, so that a graph along it can be told from its mirror image.
#pragma once

#include <array>
#include <string>

#include "seams/fit_document.h"

namespace interstice::report {

// At the first and the last sample: the label of the third piece that meets the seam there (its arris within the
// widest seam and half of it, as far as three rounded corners leave a junction open); "rim" where none does and both
// pieces stand on the lowest ring; "open side" otherwise.
std::array<std::string, 2> seam_ends(const seams::FitDocument& fit, const seams::FitSeam& seam);

}  // namespace interstice::report
