// Flagged seams drawn on the maker's own photos.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <vector>

#include "report/label_places.h"
#include "report/photo_view.h"
#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::report {

struct MarkedPhoto {
  std::string photo;               // name of the photo it is drawn on
  std::string jpeg;                // the picture, turned as a viewer would turn the photo
  std::vector<std::size_t> seams;  // indices into fit.seams of the seams drawn
};

// Draws on each photo that is named, in the photos' order and never enlarged; `draw` gets a name's list and the width
// of a thin line in pixels.
using DrawOnPhoto = std::function<void(cv::Mat& picture, const PhotoView& view,
                                       const std::vector<std::size_t>& drawn, double unit, LabelPlaces&)>;
std::vector<MarkedPhoto> draw_on_photos(const scan::Scan& scan, const seams::FitDocument& fit,
                                        const std::map<std::string, std::vector<std::size_t>>& by_photo,
                                        int longest_px, int threads, const DrawOnPhoto& draw);

// One picture for each photo that shows a flagged seam best: both pieces' outlines, the narrowest place and
// its width, and what the work order does to these pieces. At most `longest_px` on the longer side.
std::vector<MarkedPhoto> mark_photos(const scan::Scan& scan, const seams::FitDocument& fit, int longest_px,
                                     int threads);

}  // namespace interstice::report
