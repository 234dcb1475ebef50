// What cameras and paper do beyond the model of a lens and a flat card, learnt from all corners and tie points:
// rows read one after the other while the hand moves (a shift a photo), cards that bend, and what the lens leaves
// beyond Brown's terms (a smooth field a lens).
//
// Each is taken up only where it explains more than the noise does; else it stays nought. Frames and units as
// scan/bundle.h. Errors as adjust().
#pragma once

#include "scan/bundle.h"

namespace interstice::scan {

// Adjusts the bundle again with the effects that were taken up; `options` gets their freedoms. `summary`: of the bundle
// as it is, and returned where nothing was taken up.
BundleSummary learn_camera_effects(Bundle& bundle, BundleOptions& options, BundleSummary summary);

}  // namespace interstice::scan
