#include "baseline_fusion.h"

#include <open3d/camera/PinholeCameraIntrinsic.h>
#include <open3d/geometry/Image.h>
#include <open3d/geometry/PointCloud.h>
#include <open3d/geometry/RGBDImage.h>
#include <open3d/io/PointCloudIO.h>
#include <open3d/pipelines/integration/ScalableTSDFVolume.h>

#include <cstring>

namespace interstice::baseline {

struct Fusion::Volume {
  open3d::pipelines::integration::ScalableTSDFVolume tsdf;
};

// Every pixel counts (depth_sampling_stride 1): the cloud should not be thinner than it can be.
Fusion::Fusion(double voxel_mm, double truncation_mm)
    : volume_(new Volume{
          {voxel_mm, truncation_mm, open3d::pipelines::integration::TSDFVolumeColorType::NoColor, 16, 1}}) {}

Fusion::~Fusion() {
  delete volume_;
}

void Fusion::add(const DepthPicture& picture) {
  const int width = picture.depth_mm.cols, height = picture.depth_mm.rows;
  open3d::geometry::RGBDImage image;
  image.depth_.Prepare(width, height, 1, 4);
  for (int y = 0; y < height; ++y) {
    std::memcpy(image.depth_.data_.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width) * 4,
                picture.depth_mm.ptr<float>(y), static_cast<std::size_t>(width) * 4);
  }
  image.color_.Prepare(width, height, 3, 1);
  const open3d::camera::PinholeCameraIntrinsic camera(width, height, picture.focal_px, picture.focal_px,
                                                      picture.cx, picture.cy);
  volume_->tsdf.Integrate(image, camera, picture.camera_T_bowl.matrix());
}

std::vector<Eigen::Vector3d> Fusion::points() const {
  return volume_->tsdf.ExtractPointCloud()->points_;
}

std::vector<Eigen::Vector3d> read_points(const char* ply) {
  open3d::geometry::PointCloud cloud;
  open3d::io::ReadPointCloud(ply, cloud);
  return cloud.points_;
}

}  // namespace interstice::baseline
