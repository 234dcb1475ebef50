// Whether resin stands in the seams, before anything else is measured of it.
//
// Model: resin that stands flush is a surface, and looks the same from all sides but for what it mirrors; an open
// seam shows one wall from here, the other from there, and its depth from above. So over the middle of every seam,
// at the level of the pieces' lips, the photos are compared: how far they disagree, against how far the seam differs
// from the wood beside it. Neither colour nor light need be known. Places where wood is as dark
// as the seam are passed over. On the kept scans the middle of the seams' values
// is 0.10 for a poured shell and 0.20 for the same shell before.
// Clear resin, and resin that mirrors a lamp, disagree as open seams do. But an open seam is a slot, and dark in the view
// that sees its floor: deeper than twice its width, the floor sees the sky under less than a quarter of the light that
// falls on the faces (the sine of half the angle, 0.24). Resin as light as wood has no such view.
#pragma once

#include <optional>

#include "refill/registration.h"
#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::refill {

struct SeamViews {  // medians over places of seams
  double disagreement = 0;
  double darkest = 0;  // light of the seam over the wood's beside it, in the photo where that is least

  // Resin stands there for sure; no resin stands there for sure. Neither: light and mirrors may make views of resin
  // disagree, or the seams are black.
  bool surely_filled() const { return disagreement < 0.12; }
  bool surely_open() const { return disagreement >= 0.18 && darkest < 0.24; }
};

// Empty where too few places of seams are seen by three photos.
std::optional<SeamViews> seam_views(const scan::Scan& scan, const Pictures& pictures,
                                    const seams::FitDocument& fit, int threads);

}  // namespace interstice::refill
