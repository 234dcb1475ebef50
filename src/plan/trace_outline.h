// One cell's outline, from its pixels to the centres of the lines around it.
#pragma once

#include <vector>

#include "plan/trace_cells.h"

namespace interstice {

// So near to the rim lines are not searched; outlines are carried on to it.
inline constexpr double kRimBand_px = 5.0;

// contour: the cell's outermost pixels in order.
TracedCell outline_along_lines(const OrthoPicture& picture, const Profile& form, const LinePicture& lines,
                               const std::vector<cv::Point>& contour);

}  // namespace interstice
