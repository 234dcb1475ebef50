// Widths behind the mouth against closed forms.
#include "solid/throat.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace interstice {
namespace {

using Eigen::Vector3d;

constexpr double kBar_mm = 14, kHalfBar_mm = 20, kDegree = std::numbers::pi / 180;

// A bar along y with its face in z = 0 between x0 and x1, walls leaning inward (positive) by `bevel_deg` towards
// its foot, or outward.
solid::PieceSolid bar(double x0, double x1, double bevel_deg) {
  solid::PieceSolid piece;
  const double in = kBar_mm * std::tan(bevel_deg * kDegree);
  const int n = 40;
  const auto add = [&](double x, double y, double rx, double ry) {
    piece.arris.emplace_back(x, y, 0);
    piece.root.emplace_back(rx, ry, -kBar_mm);
  };
  for (int k = 0; k < n; ++k)
    add(x0 + (x1 - x0) * k / n, -kHalfBar_mm, x0 + in + (x1 - x0 - 2 * in) * k / n, -kHalfBar_mm + in);
  for (int k = 0; k < n; ++k)
    add(x1, -kHalfBar_mm + 2 * kHalfBar_mm * k / n, x1 - in,
        -kHalfBar_mm + in + (2 * kHalfBar_mm - 2 * in) * k / n);
  for (int k = 0; k < n; ++k)
    add(x1 - (x1 - x0) * k / n, kHalfBar_mm, x1 - in - (x1 - x0 - 2 * in) * k / n, kHalfBar_mm - in);
  for (int k = 0; k < n; ++k)
    add(x0, kHalfBar_mm - 2 * kHalfBar_mm * k / n, x0 + in,
        kHalfBar_mm - in - (2 * kHalfBar_mm - 2 * in) * k / n);
  return piece;
}

// Two bars whose facing walls lean towards each other by 2 degrees below their edges: at depth d the gap is
// 4 - 2 d tan 2 between the wall lines (level with each other).
struct LeaningBars : ::testing::Test {
  solid::PieceSolid a = bar(-30, 0, -2), b = bar(4, 34, -2);
  solid::SolidBody body_a{a}, body_b{b};
  static double gap(double depth) { return 4 - 2 * depth * std::tan(2 * kDegree); }
};

TEST_F(LeaningBars, ThroatLiesAtTheFoot) {
  const auto throat = solid::throat_of(body_a, body_b);
  ASSERT_TRUE(throat);
  EXPECT_NEAR(throat->width_mm, gap(kBar_mm), 1e-9);
  EXPECT_NEAR(throat->on_a.z(), -kBar_mm, 1e-9);
}

TEST_F(LeaningBars, ThroatsAlongTheSeamAreAllThere) {
  const auto mouths = solid::mouth_along(body_a, body_b);
  const auto throats = solid::throats_along(body_a, body_b, mouths),
             feet = solid::feet_along(body_a, body_b, mouths);
  ASSERT_EQ(throats.size(), mouths.size());
  int within = 0;
  for (std::size_t i = 0; i < mouths.size(); ++i) {
    if (std::abs(mouths[i].on_a.y()) > kHalfBar_mm - 3 || std::abs(mouths[i].on_b.y()) > kHalfBar_mm - 3)
      continue;
    ASSERT_TRUE(throats[i] && feet[i]);
    EXPECT_NEAR(throats[i]->width_mm, gap(kBar_mm), 1e-9);
    EXPECT_NEAR(feet[i]->width_mm, gap(kBar_mm), 1e-9);
    ++within;
  }
  EXPECT_GT(within, 60);
}

// From a wall point at a depth the nearest of the other wall, which leans: the level gap times the cosine of one lean
// less what the lean takes; exact for planes: distance of a point at depth d to the plane through the other wall.
TEST_F(LeaningBars, WidthAtADepthIsThatOfThePlanes) {
  for (const double depth : {0.125, 0.375, 0.625, 0.875}) {
    const auto width = solid::width_at_depth(body_a, body_b, {0, 1, 0}, {4, 1, 0}, depth, 8);
    ASSERT_TRUE(width);
    EXPECT_NEAR(*width, gap(depth * kBar_mm) * std::cos(2 * kDegree), 1e-9);
  }
  EXPECT_FALSE(solid::width_at_depth(body_a, body_b, {0, 1, 0}, {4, 1, 0}, 0.5, 1));
}

// What turning leaves between 3 and 9 mm below a face that lies 0.5 mm over the arris: the throat is at 8.5 mm below
// the arris.
TEST_F(LeaningBars, FinishedWallEndsTheThroat) {
  const plan::FinishedWall wall{3, 9};
  const solid::PieceSolid ka = solid::kept_part(a, 0.5, wall), kb = solid::kept_part(b, 0.5, wall);
  EXPECT_NEAR(ka.arris[0].z(), -2.5, 1e-12);
  EXPECT_NEAR(ka.root[0].z(), -8.5, 1e-12);
  EXPECT_NEAR(ka.face.height(ka.arris[0]), 0, 1e-12);
  EXPECT_NEAR(solid::throat_of(solid::SolidBody(ka), solid::SolidBody(kb))->width_mm, gap(8.5), 1e-9);
}

TEST(KeptPart, WallsThatEndAboveAreNoWalls) {
  solid::PieceSolid piece = bar(-30, 0, 5);
  const solid::PieceSolid kept = solid::kept_part(piece, 0, {2, 40});
  for (std::size_t i = 0; i < piece.root.size(); ++i)
    EXPECT_NEAR((kept.root[i] - piece.root[i]).norm(), 0, 1e-12);
}

}  // namespace
}  // namespace interstice
