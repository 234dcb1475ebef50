// The nearest place of a piece, found among few walls, against every wall looked at.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>

#include "geometry/polygon.h"
#include "solid/mouth.h"
#include "solid/triangle.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

// A wavy piece, its walls leaning in by differing amounts, its face aslant.
solid::PieceSolid wavy_piece() {
  const geometry::PlaneFrame face = geometry::make_plane_frame({40, -20, 70}, {0.3, -0.2, 1}, {1, 0, 0});
  solid::PieceSolid piece{face, {}, {}};
  constexpr int kPoints = 150;
  for (int k = 0; k < kPoints; ++k) {
    const double a = 2 * std::numbers::pi * k / kPoints, r = 18 + 4 * std::cos(3 * a),
                 in = 1 + 0.8 * std::sin(5 * a);
    const Vector2d out(std::cos(a), std::sin(a));
    piece.arris.push_back(face.lift(r * out));
    piece.root.push_back(face.lift((r - in) * out) - (11 + std::cos(2 * a)) * face.normal);
  }
  return piece;
}

// Even-odd rule in the slice at the point's height, and above the underside's nearest point.
bool inside_slice(const solid::PieceSolid& s, const Vector3d& p) {
  const double height = s.face.height(p);
  if (height > 0) return false;
  geometry::Polygon slice;
  for (std::size_t i = 0; i < s.arris.size(); ++i) {
    const double t = std::min(1.0, height / s.face.height(s.root[i]));
    slice.push_back(s.face.drop(s.arris[i] + t * (s.root[i] - s.arris[i])));
  }
  if (!geometry::contains(slice, s.face.drop(p))) return false;
  std::size_t nearest = 0;
  for (std::size_t i = 0; i < slice.size(); ++i) {
    if ((slice[i] - s.face.drop(p)).norm() < (slice[nearest] - s.face.drop(p)).norm()) nearest = i;
  }
  return height >= s.face.height(s.root[nearest]);
}

double to_walls(const solid::PieceSolid& s, const Vector3d& p) {
  double squared = 1e18;
  for (std::size_t i = 0; i < s.arris.size(); ++i) {
    const std::size_t j = (i + 1) % s.arris.size();
    squared = std::min({squared, solid::nearest_on_triangle(p, s.arris[i], s.root[i], s.root[j]).squared,
                        solid::nearest_on_triangle(p, s.arris[i], s.root[j], s.arris[j]).squared});
  }
  return std::sqrt(squared);
}

TEST(BodyNearest, IsThatOfAllWalls) {
  const solid::PieceSolid piece = wavy_piece();
  const solid::SolidBody body(piece);
  std::mt19937 random(11);
  std::uniform_real_distribution<double> across(-30, 30), height(-16, 6);
  int within = 0, near = 0;
  for (int n = 0; n < 4000; ++n) {
    const Vector3d p = piece.face.lift({across(random), across(random)}) + height(random) * piece.face.normal;
    ASSERT_EQ(body.inside(p), inside_slice(piece, p)) << n;
    double expected = to_walls(piece, p);
    constexpr double kLimit_mm = 6;
    const auto hit = body.nearest(p, kLimit_mm);
    if (body.inside(p)) {
      ++within;
      ASSERT_TRUE(hit) << n;
      ASSERT_EQ(hit->distance_mm, -expected) << n;
      continue;
    }
    geometry::Polygon outline;
    for (const Vector3d& q : piece.arris) outline.push_back(piece.face.drop(q));
    if (geometry::contains(outline, piece.face.drop(p)))
      expected = std::min(expected, std::abs(piece.face.height(p)));
    ASSERT_EQ(hit.has_value(), expected < kLimit_mm) << n;
    if (!hit) continue;
    ++near;
    ASSERT_EQ(hit->distance_mm, expected) << n;
  }
  EXPECT_GT(within, 300);
  EXPECT_GT(near, 300);
}

}  // namespace
}  // namespace interstice
