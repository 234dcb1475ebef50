// Rigid registration: Open3D's ICP and Eigen's umeyama as two independent judges of one motion.
#include <gtest/gtest.h>
#include <open3d/geometry/PointCloud.h>
#include <open3d/pipelines/registration/Registration.h>

#include <Eigen/Geometry>
#include <cmath>

#include "geometry/profile.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

// Points of a form with bumps, so that it has no axis left to slide about.
std::vector<Vector3d> bumpy_form() {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 100; ++i) rz.emplace_back(100 * std::sin(0.0157 * i), 100 * std::cos(0.0157 * i));
  rz.front().x() = 0;
  const Profile form(rz);
  std::vector<Vector3d> points;
  for (double u = -140; u <= 140; u += 2) {
    for (double v = -140; v <= 140; v += 2) {
      if (std::hypot(u, v) < form.length())
        points.push_back(form.point({u, v}, 4 * std::sin(u / 13) * std::cos(v / 17)));
    }
  }
  return points;
}

TEST(Registration, IcpAndUmeyamaFindTheMotionThatWasMade) {
  Eigen::Isometry3d motion = Eigen::Isometry3d::Identity();
  motion.linear() = Eigen::AngleAxisd(0.01, Vector3d(1, 2, 3).normalized()).toRotationMatrix();
  motion.translation() = Vector3d(0.3, -0.2, 0.25);
  open3d::geometry::PointCloud a, b;
  a.points_ = bumpy_form();
  for (const Vector3d& p : a.points_) b.points_.push_back(motion * p);
  namespace reg = open3d::pipelines::registration;
  const reg::RegistrationResult icp = reg::RegistrationICP(a, b, 3.0, Eigen::Matrix4d::Identity(),
                                                           reg::TransformationEstimationPointToPoint(false),
                                                           reg::ICPConvergenceCriteria(1e-12, 1e-12, 200));
  Eigen::Matrix3Xd x(3, a.points_.size()), y(3, a.points_.size());
  for (std::size_t i = 0; i < a.points_.size(); ++i) {
    x.col(Eigen::Index(i)) = a.points_[i];
    y.col(Eigen::Index(i)) = b.points_[i];
  }
  EXPECT_LT((icp.transformation_ - motion.matrix()).norm(), 1e-5);
  EXPECT_LT((Eigen::umeyama(x, y, false) - motion.matrix()).norm(), 1e-9);
}

}  // namespace
}  // namespace interstice
