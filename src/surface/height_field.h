// The dense surface: heights above the form on the map, by comparing photos.
//
// At every map cell a small patch parallel to the form is lifted through a range of heights; where the photos
// that see it agree best (mean normalised correlation over all pairs of views) lies the surface. Agreement is
// pooled over a neighbourhood, the best height refined by a parabola. Cells without texture or views stay
// unknown. Frame `bowl` of the scan; the map's theta is that of the scan, whatever its turn.
#pragma once

#include <opencv2/core/mat.hpp>

#include "geometry/profile.h"
#include "scan/scan.h"
#include "surface/map_grid.h"
#include "surface/pictures.h"

namespace interstice::surface {

struct HeightOptions {
  double lowest_mm = -2, highest_mm = 20, step_mm = 0.5;
  double patch_mm = 3.0;  // side of the patch compared
  double pool_mm = 3.0;   // side of the neighbourhood over which agreement is pooled
  std::size_t views = 5;
  double least_agreement = 0.2;  // correlation below which a cell stays unknown
  int threads = 0;
};

struct HeightField {
  MapGrid grid;
  cv::Mat height;     // CV_32F, mm above the form, NaN unknown
  cv::Mat agreement;  // CV_32F, -1 to 1
};

HeightField sweep_heights(const scan::Scan& scan,
                          const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                          const geometry::Profile& profile, const MapGrid& grid,
                          const HeightOptions& options);

}  // namespace interstice::surface
