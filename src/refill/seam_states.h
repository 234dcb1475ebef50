// The state of every seam of the dry measurement after the pour.
//
// A seam is hollow when a hollow is counted to it; filled when none is, most of it is seen, and resin is proved so far
// along it that no hollow worth counting (6 mm2) has room; unseen otherwise.
// Along its length the same is told in steps of the dry measurement's samples.
#pragma once

#include <vector>

#include "refill/hollows.h"
#include "refill/refill_document.h"
#include "refill/resin_evidence.h"
#include "seams/fit_document.h"

namespace interstice::refill {

std::vector<RefillSeam> seam_states(const Band& band, const ResinLook& look,
                                    const std::vector<Patch>& patches, const seams::FitDocument& dry);

}  // namespace interstice::refill
