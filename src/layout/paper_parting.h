// Papers that touch one another in a picture, parted where they touch.
//
// Model: two papers that touch hang together by a neck that is narrower than the narrower of them is on its
// side of it; one paper by itself has no such waist. Half the width of a place is its distance from the edge:
// going down in it, parts of a region that grow together at less than kNeck of what the smaller of them
// reaches are two papers, cut apart along the shortest line through that place. At less than kWaist they may
// be. Papers that lie flush along a whole side show no neck and are one region: what is laid on the form
// tells. Pixels of the picture given.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace interstice::layout {

// Wood that is cut in to little more than half its width breaks there, so no piece is (common practice, no source).
inline constexpr double kNeck = 0.6, kWaist = 0.75;

struct PaperNeck {
  Eigen::Vector2d from_px, to_px;  // across it, just outside either edge
  double of_width = 0;             // its width over that of the narrower paper; below kNeck: parted
  double width_px() const { return (to_px - from_px).norm(); }
  Eigen::Vector2d middle_px() const { return (from_px + to_px) / 2; }
};

// Necks of one region of a mask (CV_8U, 0 outside, without holes), narrowest first. `least_px`: half the width
// of the narrowest paper that there is; `least_area_px`: of the smallest.
std::vector<PaperNeck> paper_necks(const cv::Mat& region, double least_px, double least_area_px);

}  // namespace interstice::layout
