// Depth pictures to one cloud, through Open3D; apart because its headers are heavy.
#pragma once

#include <Eigen/Geometry>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace interstice::baseline {

struct DepthPicture {
  cv::Mat depth_mm;  // CV_32F along the camera's axis, 0 unknown
  double focal_px = 0, cx = 0, cy = 0;
  Eigen::Isometry3d camera_T_bowl;
};

// Takes depth pictures one at a time (they are large) into a truncated signed distance field.
class Fusion {
 public:
  Fusion(double voxel_mm, double truncation_mm);
  ~Fusion();
  Fusion(const Fusion&) = delete;
  Fusion& operator=(const Fusion&) = delete;
  void add(const DepthPicture& picture);
  std::vector<Eigen::Vector3d> points() const;

 private:
  struct Volume;
  Volume* volume_;
};

std::vector<Eigen::Vector3d> read_points(const char* ply);

}  // namespace interstice::baseline
