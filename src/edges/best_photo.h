// Which photo shows a place of the bowl best: squarely and sharply.
//
// Sharpness is read from the photo itself. The width of the sharpest edge near the place, in millimetres on
// the bowl, says how fine a thing can be told apart there, whatever spoiled it: focus, shake, distance or too
// few pixels. A view from the side shows a seam shortened by the cosine to its normal. Best is the largest
// cosine over edge width.
#pragma once

#include <optional>
#include <string>

#include "geometry/profile.h"
#include "surface/pictures.h"

namespace interstice::edges {

// Width (picture pixels) of the sharpest edge within `half_px` of a place: the spread of grey levels there
// over the steepest step from pixel to pixel. Empty when the place is too near the border or shows no edge
// above the noise.
std::optional<double> edge_width_px(const cv::Mat& grey, const Eigen::Vector2d& at, double half_px);

// Name of the photo; empty when none looks at the place. `pictures` are those of the scan's photos. A photo
// without a readable edge there is taken only if no other shows the place.
std::string best_photo(const scan::Scan& scan,
                       const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                       const Eigen::Vector3d& place, const Eigen::Vector3d& outward);

}  // namespace interstice::edges
