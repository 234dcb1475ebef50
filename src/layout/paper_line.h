// A check line in a flatbed picture: one straight dark line, drawn or printed, on paper or beside it.
//
// Model: thin dark strokes are what a closing (dilation, then erosion) fills in; the edge of a paper is none,
// as it has no bright side beyond. A stroke all of whose parts lie within its own width of one straight line
// is a candidate; it ends at the middles of its end ticks where it has them, else where it fades to half.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace interstice::layout {

struct CheckLine {
  Eigen::Vector2d from_px, to_px;  // of the picture given; pixel centres are whole numbers
  double length_px() const { return (to_px - from_px).norm(); }
};

// Straight lines of at least a twelfth of the picture's longer side, longest first.
std::vector<CheckLine> straight_lines(const cv::Mat& grey);

}  // namespace interstice::layout
