// Whether resin stands in the seams, before anything else is measured of it.
//
// Model: resin that stands flush is a surface, and looks the same from all sides but for what it mirrors; an open
// seam shows one wall from here, the other from there, and its depth from above. So over the middle of every seam,
// at the level of the pieces' lips, the photos are compared: how far they disagree, against how far the seam differs
// from the wood beside it. Neither colour nor light need be known. Places where wood is as dark
// as the seam are passed over. On the kept scans the middle of the seams' values
// is 0.10 for a poured shell and 0.20 for the same shell before.
#pragma once

#include <optional>

#include "refill/registration.h"
#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::refill {

// Median disagreement; empty where too few places of seams are seen by three photos.
std::optional<double> seam_disagreement(const scan::Scan& scan, const Pictures& pictures,
                                        const seams::FitDocument& fit, int threads);

// Below: resin stands there. Above: it may not; light and mirrors make views of resin disagree as well.
inline constexpr double kStandsFull = 0.12, kStandsOpen = 0.18;

}  // namespace interstice::refill
