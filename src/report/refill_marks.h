// Hollows ringed on the maker's own photos.
#pragma once

#include <string>
#include <vector>

#include "refill/refill_document.h"
#include "report/photo_marks.h"
#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::report {

// One picture for each photo that shows a hollow best; numbers are those of the working order, from 1. `scan` has
// its poses in the frame of the dry measurement. MarkedPhoto::seams are then indices of hollows.
std::vector<MarkedPhoto> mark_hollows(const scan::Scan& scan, const seams::FitDocument& dry,
                                      const refill::RefillDocument& document, int longest_px, int threads);

}  // namespace interstice::report
