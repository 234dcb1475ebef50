// cloud.ply as another library reads it: Open3D reads back what was written, and its ICP and Eigen's umeyama
// find the same motion between a cloud and its moved copy.
#include "surface/cloud.h"

#include <gtest/gtest.h>
#include <open3d/geometry/PointCloud.h>
#include <open3d/io/PointCloudIO.h>
#include <open3d/pipelines/registration/Registration.h>
#include <unistd.h>

#include <Eigen/Geometry>
#include <cmath>
#include <filesystem>
#include <limits>

#include "core/errors.h"
#include "surface/shell_plan.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kRadius = 100, kHeight = 12;
constexpr float kUnknown = std::numeric_limits<float>::quiet_NaN();

// Heights over the dome and a picture that tells its place: red grows with u, green with v.
surface::Surface surface_of(const plan::Plan& plan, double (*height)(const Vector2d&)) {
  surface::Surface surface;
  surface.form = plan.profile;
  surface::MapGrid& grid = surface.heights.grid;
  grid = surface::MapGrid::covering(plan.profile.length() + 5, 1.0);
  surface.heights.height = cv::Mat(grid.side(), grid.side(), CV_32F);
  surface.heights.agreement = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(1));
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column)
      surface.heights.height.at<float>(row, column) = float(height(grid.uv(column, row)));
  }
  surface.ortho_grid = surface::MapGrid::covering(plan.profile.length(), 2.0);
  const int side = surface.ortho_grid.side();
  surface.ortho = cv::Mat(side, side, CV_8UC3);
  for (int row = 0; row < side; ++row) {
    for (int column = 0; column < side; ++column) {
      const Vector2d uv = surface.ortho_grid.uv(column, row);
      surface.ortho.at<cv::Vec3b>(row, column) =
          cv::Vec3b(40, uchar(128 + uv.y() / 2), uchar(128 + uv.x() / 2));
    }
  }
  return surface;
}

double even(const Vector2d&) {
  return kHeight;
}
// No turn of the dome onto itself fits these hills.
double hilly(const Vector2d& uv) {
  return kHeight + 3 * std::sin(uv.x() / 13) * std::cos(uv.y() / 9 + 0.4) +
         2 * std::sin((uv.x() + 2 * uv.y()) / 31);
}
double half_known(const Vector2d& uv) {
  return uv.x() < 0 ? double(kUnknown) : kHeight;
}

class Cloud : public testing::Test {
 protected:
  void SetUp() override {
    path_ = std::filesystem::path(testing::TempDir()) / ("cloud_" + std::to_string(::getpid()) + ".ply");
  }
  void TearDown() override { std::filesystem::remove(path_); }
  open3d::geometry::PointCloud written(double (*height)(const Vector2d&)) {
    surface::write_cloud(surface_of(plan_, height), plan_, path_);
    open3d::geometry::PointCloud cloud;
    EXPECT_TRUE(open3d::io::ReadPointCloud(path_.string(), cloud));
    return cloud;
  }
  std::filesystem::path path_;
  plan::Plan plan_ = testing_plan::shell_plan(kRadius);
};

TEST_F(Cloud, AnEvenLayerIsASphereWithRadialNormals) {
  const auto cloud = written(even);
  // The map is a disc of radius pi / 2 * 100; one point a cell of 4 square millimetres.
  const double cells = std::numbers::pi * std::pow(plan_.profile.length(), 2) / 4;
  EXPECT_NEAR(double(cloud.points_.size()), cells, 0.01 * cells);
  ASSERT_TRUE(cloud.HasNormals() && cloud.HasColors());
  for (std::size_t i = 0; i < cloud.points_.size(); ++i) {
    const Vector3d& p = cloud.points_[i];
    ASSERT_NEAR(p.norm(), kRadius + kHeight, 0.02);
    ASSERT_NEAR(cloud.normals_[i].norm(), 1, 1e-6);
    ASSERT_GT(cloud.normals_[i].dot(p.normalized()), std::cos(0.01));
  }
}

// The colour at a point is that of its place on the map: rho = R times the angle from the axis.
TEST_F(Cloud, ColoursStayAtTheirPlace) {
  const auto cloud = written(even);
  for (std::size_t i = 0; i < cloud.points_.size(); i += 7) {
    const Vector3d& p = cloud.points_[i];
    const double rho = kRadius * std::atan2(std::hypot(p.x(), p.y()), p.z());
    const double theta = std::atan2(p.y(), p.x());
    ASSERT_NEAR(255 * cloud.colors_[i].x(), 128 + rho * std::cos(theta) / 2, 1.1);
    ASSERT_NEAR(255 * cloud.colors_[i].y(), 128 + rho * std::sin(theta) / 2, 1.1);
    ASSERT_NEAR(255 * cloud.colors_[i].z(), 40, 1e-3);
  }
}

TEST_F(Cloud, NothingUnknownIsWritten) {
  const auto cloud = written(half_known);
  const double cells = std::numbers::pi * std::pow(plan_.profile.length(), 2) / 8;
  EXPECT_NEAR(double(cloud.points_.size()), cells, 0.02 * cells);
  for (const Vector3d& p : cloud.points_) {
    ASSERT_TRUE(p.allFinite());
    ASSERT_GE(p.x(), -1e-6);
  }
}

TEST_F(Cloud, IcpFindsAKnownMotionThatUmeyamaFindsToo) {
  const auto fixed = written(hilly);
  Eigen::Isometry3d motion = Eigen::Isometry3d::Identity();
  motion.linear() = Eigen::AngleAxisd(0.9 * std::numbers::pi / 180, Vector3d(0.3, -0.5, 0.8).normalized())
                        .toRotationMatrix();
  motion.translation() = Vector3d(0.8, -0.6, 0.5);
  auto moved = fixed;
  moved.Transform(motion.matrix());

  const auto n = Eigen::Index(fixed.points_.size());
  Eigen::Matrix3Xd from(3, n), to(3, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    from.col(i) = fixed.points_[std::size_t(i)];
    to.col(i) = moved.points_[std::size_t(i)];
  }
  const Eigen::Matrix4d closed_form = Eigen::umeyama(from, to, false);
  namespace registration = open3d::pipelines::registration;
  const Eigen::Matrix4d iterated =
      registration::RegistrationICP(fixed, moved, 4.0, Eigen::Matrix4d::Identity(),
                                    registration::TransformationEstimationPointToPlane(),
                                    registration::ICPConvergenceCriteria(1e-12, 1e-12, 100))
          .transformation_;
  EXPECT_LT((closed_form - motion.matrix()).norm(), 1e-8);
  EXPECT_LT((iterated - motion.matrix()).norm(), 1e-3);
  EXPECT_LT((iterated - closed_form).norm(), 1e-3);
  EXPECT_GT((motion.matrix() - Eigen::Matrix4d::Identity()).norm(), 0.5);
}

TEST_F(Cloud, APlaceThatCannotBeWrittenIsNamed) {
  const surface::Surface surface = surface_of(plan_, even);
  try {
    surface::write_cloud(surface, plan_, "/proc/nowhere/cloud.ply");
    ADD_FAILURE();
  } catch (const core::InputError& e) {
    EXPECT_NE(std::string(e.what()).find("/proc/nowhere/cloud.ply: cannot be written"), std::string::npos);
  }
}

}  // namespace
}  // namespace interstice
