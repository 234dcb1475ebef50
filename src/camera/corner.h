// Inside the camera stage: one chessboard corner found to a small part of a pixel.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <optional>

namespace interstice::camera {

// A plane-to-picture map (homography, 3 x 3) and what it does to points and to small steps.
Eigen::Vector2d map_point(const Eigen::Matrix3d& pixel_H_card, const Eigen::Vector2d& p);
Eigen::Matrix2d map_jacobian(const Eigen::Matrix3d& pixel_H_card, const Eigen::Vector2d& p);

struct RefinedCorner {
  Eigen::Vector2d pixel;
  double sd_px = 0;
};

// Finds the crossing of the two edges that meet near `start`: the point that is least off all tangents of the
// grey values (every gradient on an edge through the corner stands square to the line to it), iterated.
// `pixel_J_card`: pixels per mm of the card here. Pixels count by their place on the card, up to `reach_mm`
// along either edge, so the window turns and shrinks with the view and never meets the marker next to the
// corner. Nothing when there is no sharp crossing (too blurred, half hidden, too small, outside the picture)
// or when it lies further from `start` than half of reach_mm.
//
// Source of the estimator: W. Foerstner and E. Guelch, "A fast operator for detection and precise location of
// distinct points, corners and centres of circular features", ISPRS Intercommission Workshop, Interlaken 1987
// (from memory).
std::optional<RefinedCorner> refine_corner(const cv::Mat& grey, const Eigen::Vector2d& start,
                                           const Eigen::Matrix2d& pixel_J_card, double reach_mm);

}  // namespace interstice::camera
