// One cell's outline, from its pixels to the centres of the lines around it.
#pragma once

#include <vector>

#include "layout/trace_cells.h"

namespace interstice::layout {

// So near to the rim lines are not searched; outlines are carried on to it.
inline constexpr double kRimBand_px = 5.0;

// contour: the cell's outermost pixels in order.
TracedCell outline_along_lines(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                               const LinePicture& lines, const std::vector<cv::Point>& contour);

}  // namespace interstice::layout
