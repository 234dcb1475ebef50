// Flagged seams drawn on the maker's own photos.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::report {

struct MarkedPhoto {
  std::string photo;               // name of the photo it is drawn on
  std::string jpeg;                // the picture, turned as a viewer would turn the photo
  std::vector<std::size_t> seams;  // indices into fit.seams of the seams drawn
};

// One picture for each photo that shows a flagged seam best: both pieces' outlines, the narrowest place and
// its width, and what the work order does to these pieces. At most `longest_px` on the longer side.
std::vector<MarkedPhoto> mark_photos(const scan::Scan& scan, const seams::FitDocument& fit, int longest_px,
                                     int threads);

}  // namespace interstice::report
