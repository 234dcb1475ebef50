// A picture of the form laid out on the map, as if every place were seen square on.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>

namespace interstice::geometry {

struct OrthoPicture {
  cv::Mat bgr;            // 8 bit, one or three channels
  double mm_per_px = 0;   // on the map
  double cx = 0, cy = 0;  // pixel of the pole; pixel centres are whole numbers
  cv::Mat confidence;     // 8 bit, 0 where no photo shows the place; empty: all seen

  // pixel (col, row) -> (u, v): u to the right, v up
  Eigen::Vector2d map_at(const Eigen::Vector2d& px) const {
    return {(px.x() - cx) * mm_per_px, (cy - px.y()) * mm_per_px};
  }
  Eigen::Vector2d pixel_at(const Eigen::Vector2d& uv) const {
    return {uv.x() / mm_per_px + cx, cy - uv.y() / mm_per_px};
  }
};

}  // namespace interstice::geometry
