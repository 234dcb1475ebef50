// Rigid registration: this program's alignment of two scans, Open3D's ICP and Eigen's umeyama as three
// independent judges of one motion.
#include <gtest/gtest.h>
#include <open3d/geometry/PointCloud.h>
#include <open3d/pipelines/registration/Registration.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>

#include "archive/align.h"

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector3d;

// A shell of square pieces on a sphere, 114 mm to their faces; outlines of 80 points each.
seams::FitDocument shell() {
  seams::FitDocument fit;
  for (int ring = 1; ring <= 4; ++ring) {
    const double colatitude = std::numbers::pi / 2 - 0.15 - 0.33 * (ring - 1);
    const int count = 20 - 4 * ring;
    for (int k = 0; k < count; ++k) {
      const double a = 2 * std::numbers::pi * k / count + 0.1 * ring;
      const Vector3d n(std::sin(colatitude) * std::cos(a), std::sin(colatitude) * std::sin(a),
                       std::cos(colatitude));
      seams::FitTile tile;
      tile.label = std::string(1, char('A' + ring - 1)) + std::to_string(k + 1);
      tile.ring = ring;
      tile.state = plan::TileState::placed;
      tile.face = geometry::make_plane_frame(114 * n, n, Vector3d::UnitZ().cross(n));
      for (int i = 0; i < 80; ++i) {
        const double s = (i % 20) / 20.0 * 30 - 15;
        const Eigen::Vector2d side[4] = {{s, -15}, {15, s}, {-s, 15}, {-15, -s}};
        tile.arris.push_back(tile.face.lift(side[i / 20]));
        tile.arris_sd_mm.push_back(0.05);
      }
      tile.root = tile.arris;
      fit.tiles.push_back(tile);
    }
  }
  return fit;
}

seams::FitDocument moved(seams::FitDocument fit, const Isometry3d& m) {
  for (seams::FitTile& tile : fit.tiles) {
    for (Vector3d& p : tile.arris) p = m * p;
    for (Vector3d& p : tile.root) p = m * p;
    tile.face = {m * tile.face.origin, m.linear() * tile.face.ex, m.linear() * tile.face.ey,
                 m.linear() * tile.face.normal};
  }
  return fit;
}

open3d::geometry::PointCloud cloud_of(const seams::FitDocument& fit) {
  open3d::geometry::PointCloud cloud;
  for (const seams::FitTile& tile : fit.tiles)
    cloud.points_.insert(cloud.points_.end(), tile.arris.begin(), tile.arris.end());
  return cloud;
}

Eigen::Matrix4d icp(const seams::FitDocument& from, const seams::FitDocument& to) {
  namespace reg = open3d::pipelines::registration;
  return reg::RegistrationICP(cloud_of(from), cloud_of(to), 2.0, Eigen::Matrix4d::Identity(),
                              reg::TransformationEstimationPointToPoint(false),
                              reg::ICPConvergenceCriteria(1e-12, 1e-12, 300))
      .transformation_;
}

// The largest distance two motions put one point of the shell apart.
double apart(const Eigen::Matrix4d& a, const Eigen::Matrix4d& b, const seams::FitDocument& fit) {
  double most = 0;
  for (const Vector3d& p : cloud_of(fit).points_)
    most = std::max(most, ((a - b) * p.homogeneous()).head<3>().norm());
  return most;
}

Isometry3d small_motion() {
  Isometry3d m = Isometry3d::Identity();
  m.linear() = Eigen::AngleAxisd(0.004, Vector3d(1, 2, 3).normalized()).toRotationMatrix();
  m.translation() = Vector3d(0.2, -0.1, 0.15);
  return m;
}

TEST(Registration, ThreeJudgesOfOneMotion) {
  const seams::FitDocument b = shell(), a = moved(b, small_motion());
  const open3d::geometry::PointCloud ca = cloud_of(a), cb = cloud_of(b);
  const auto n = Eigen::Index(ca.points_.size());
  const Eigen::Map<const Eigen::Matrix3Xd> x(cb.points_[0].data(), 3, n), y(ca.points_[0].data(), 3, n);
  const Eigen::Matrix4d truth = small_motion().matrix();
  EXPECT_LT(apart(Eigen::umeyama(x, y, false), truth, b), 1e-9);
  EXPECT_LT(apart(icp(b, a), truth, b), 1e-4);
  EXPECT_LT(apart(archive::align(a, b).a_T_b.matrix(), truth, b), 1e-3);
}

// Noise in the outlines of 0.05 mm: alignment and ICP agree far better than the noise.
TEST(Registration, NoisyOutlines) {
  const seams::FitDocument b = shell();
  seams::FitDocument a = moved(b, small_motion());
  std::mt19937 random(11);
  std::normal_distribution<double> noise(0, 0.05);
  for (seams::FitTile& tile : a.tiles) {
    for (Vector3d& p : tile.arris) p += noise(random) * tile.face.ex + noise(random) * tile.face.ey;
  }
  const Eigen::Matrix4d ours = archive::align(a, b).a_T_b.matrix();
  EXPECT_LT(apart(ours, icp(b, a), b), 0.02);
  EXPECT_LT(apart(ours, small_motion().matrix(), b), 0.02);
}

}  // namespace
}  // namespace interstice
