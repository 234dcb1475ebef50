// Faces that are round, from noisy heights, and flat ones that must stay planes.
#include "edges/face_shape.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kHeightNoise_mm = 0.1;

// Heights every millimetre over a square of 32 mm that lies aslant, standing bow (x^2 + 0.5 y^2) / 16^2 over its plane.
std::vector<Vector3d> heights(const geometry::PlaneFrame& plane, double bow_mm, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, kHeightNoise_mm);
  std::vector<Vector3d> out;
  for (int i = -16; i <= 16; ++i) {
    for (int j = -16; j <= 16; ++j) {
      const Vector2d q(i, j);
      const double z = bow_mm * (q.x() * q.x() + 0.5 * q.y() * q.y()) / (16.0 * 16.0);
      out.push_back(plane.lift(q) + (z + noise(random)) * plane.normal);
    }
  }
  return out;
}

const geometry::PlaneFrame kPlane = geometry::make_plane_frame(
    Vector3d(30, -20, 50), Vector3d(0.3, -0.2, 0.9).normalized(), Vector3d::UnitX());

TEST(FaceShape, ARoundFaceComesBack) {
  for (const double bow : {-0.3, 0.25}) {
    const edges::FaceShape shape = edges::face_shape(kPlane, heights(kPlane, bow, 3), kHeightNoise_mm);
    for (const Vector2d& q : {Vector2d(0, 0), Vector2d(16, 0), Vector2d(0, -16), Vector2d(-16, 16)}) {
      const double z = bow * (q.x() * q.x() + 0.5 * q.y() * q.y()) / (16.0 * 16.0);
      EXPECT_NEAR(shape.height(kPlane.lift(q) + z * kPlane.normal), 0, 0.03) << bow << ' ' << q.transpose();
    }
    EXPECT_NEAR(shape.bow_mm({16, 0}), bow, 0.04);
  }
}

// Noise alone is no roundness (one face in a hundred at most), and few heights say nothing.
TEST(FaceShape, FlatFacesStayPlanes) {
  int round = 0;
  for (unsigned seed = 1; seed <= 40; ++seed)
    round +=
        edges::face_shape(kPlane, heights(kPlane, 0, seed), kHeightNoise_mm).bow_per_mm.norm() > 0 ? 1 : 0;
  EXPECT_LE(round, 2);
  std::vector<Vector3d> few = heights(kPlane, 0.3, 1);
  few.resize(40);
  const edges::FaceShape shape = edges::face_shape(kPlane, few, kHeightNoise_mm);
  EXPECT_EQ(shape.bow_per_mm.norm(), 0);
  EXPECT_EQ((shape.plane.origin - kPlane.origin).norm(), 0);
}

}  // namespace
}  // namespace interstice
