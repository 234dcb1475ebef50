// The surface stage as one call: the pattern's turn, dense heights, the form as it truly is, pictures on the
// map.
//
// Frame `bowl`, turned so that labels lie where the plan draws them. MeasureError: the plan's pattern is not on the form.
#pragma once

#include <functional>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "plan/plan.h"
#include "scan/scan.h"
#include "surface/height_field.h"
#include "surface/pattern_azimuth.h"

namespace interstice::surface {

struct Surface {
  geometry::Profile form;  // the plan's profile moved to where the form was measured to be
  HeightField heights;     // over the plan's profile, in the turned frame
  MapGrid ortho_grid;
  cv::Mat ortho;  // CV_8UC3, true-ortho picture: every cell coloured where its own height puts it
  Turn turn;
};

struct SurfaceOptions {
  double grid_mm = 1.0;
  double ortho_mm = 0.5;
  std::optional<double> turn;  // rad, where it is known already (Turn::angle); the pattern is not looked for
  int threads = 0;
  std::function<void(const std::string&)> progress = [](const std::string&) {};
};

// A scan in the plan's frame, without the photos that show the form elsewhere, and its surface.
struct AlignedScan {
  scan::Scan scan;
  Surface surface;
};
// Of this footprint are pictures that a map is laid out from, mm.
constexpr double kMapFootprint_mm = 0.6;
// The faces laid out on the map, before anything of heights and turn is known.
cv::Mat faces_on_map(const scan::Scan& scan,
                     const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                     const plan::Plan& plan, const MapGrid& grid, int threads);

AlignedScan align_to_plan(scan::Scan scan, const plan::Plan& plan, const SurfaceOptions& options);

// Heights without holes: unknown cells take the mean of their surroundings (the piece's thickness where
// nothing is near). For pictures and the cloud, not for measuring.
cv::Mat filled_heights(const HeightField& field, double fallback_mm);

}  // namespace interstice::surface
