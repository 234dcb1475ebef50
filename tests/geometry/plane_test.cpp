// Planes against closed forms.
#include "geometry/plane.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <random>
#include <stdexcept>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

TEST(PlaneFrame, LiftAndDropUndoEachOther) {
  const geometry::PlaneFrame f = geometry::make_plane_frame({10, -20, 30}, {1, 2, 3}, {1, 0, 0});
  EXPECT_NEAR(f.ex.dot(f.ey), 0, 1e-15);
  EXPECT_LT((f.ex.cross(f.ey) - f.normal).norm(), 1e-15);
  EXPECT_LT((f.normal - Vector3d(1, 2, 3).normalized()).norm(), 1e-15);
  EXPECT_GT(f.ex.x(), 0.9);  // (1, 0, 0) lies 15.5 degrees out of the plane: cosine sqrt(13 / 14)
  EXPECT_NEAR(f.ex.x(), std::sqrt(13.0 / 14.0), 1e-15);
  const Vector2d q(3.5, -1.25);
  EXPECT_LT((f.drop(f.lift(q)) - q).norm(), 1e-14);
  EXPECT_NEAR(f.height(f.lift(q)), 0, 1e-14);
  EXPECT_NEAR(f.height(f.lift(q) + 2.5 * f.normal), 2.5, 1e-14);
  EXPECT_LT((f.drop(f.lift(q) + 2.5 * f.normal) - q).norm(), 1e-14);
}

TEST(PlaneFit, ExactPointsGiveTheirPlane) {
  const geometry::PlaneFrame f = geometry::make_plane_frame({10, -20, 30}, {1, 2, 3}, {0, 1, 0});
  const std::vector<Vector3d> points{f.lift({0, 0}), f.lift({40, 3}), f.lift({-7, 25}), f.lift({11, -18})};
  const geometry::PlaneFit fit = geometry::fit_plane(points);
  EXPECT_NEAR(std::abs(fit.normal.dot(f.normal)), 1, 1e-14);
  EXPECT_NEAR(fit.rms, 0, 1e-7);
  EXPECT_LT((fit.centroid - f.lift({11, 2.5})).norm(), 1e-13);
}

// Four points of a square, raised and lowered in turn by h: the plane lies in the middle, rms h.
TEST(PlaneFit, RmsIsOfTheDistances) {
  const geometry::PlaneFit fit =
      geometry::fit_plane({{-1, -1, 0.01}, {1, -1, -0.01}, {1, 1, 0.01}, {-1, 1, -0.01}});
  EXPECT_NEAR(fit.rms, 0.01, 1e-12);
  EXPECT_NEAR(std::abs(fit.normal.z()), 1, 1e-12);
}

// Orthogonal distances: the fit does not depend on how the axes lie.
TEST(PlaneFit, TurnsWithThePoints) {
  std::mt19937 random(1);
  std::normal_distribution<double> wide(0, 20), noise(0, 0.5);
  std::vector<Vector3d> points;
  for (int i = 0; i < 60; ++i) points.emplace_back(wide(random), wide(random), noise(random));
  const geometry::PlaneFit fit = geometry::fit_plane(points);
  const Eigen::Quaterniond turn(Eigen::AngleAxisd(1.1, Vector3d(1, -2, 0.5).normalized()));
  for (Vector3d& p : points) p = turn * p + Vector3d(5, 6, 7);
  const geometry::PlaneFit turned = geometry::fit_plane(points);
  EXPECT_NEAR(turned.rms, fit.rms, 1e-12);
  EXPECT_NEAR(std::abs(turned.normal.dot(turn * fit.normal)), 1, 1e-12);
  EXPECT_GT(fit.rms, 0.4);
}

TEST(PlaneFit, NeedsThreePointsOffALine) {
  EXPECT_THROW(geometry::fit_plane({{0, 0, 0}, {1, 0, 0}}), std::invalid_argument);
  EXPECT_THROW(geometry::fit_plane({{0, 0, 0}, {1, 1, 1}, {2, 2, 2}, {5, 5, 5}}), std::invalid_argument);
  EXPECT_THROW(geometry::fit_plane({{3, 3, 3}, {3, 3, 3}, {3, 3, 3}}), std::invalid_argument);
}

}  // namespace
}  // namespace interstice
