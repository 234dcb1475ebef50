// Bevels from readings of known walls, and from photos of two blocks on a table.
#include "edges/wall_slope.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "edges/walled_blocks.h"

namespace interstice {
namespace {

using namespace testing_walls;

constexpr double kPlanned_deg = 10;

// Readings of one side's foot as photos of these slopes show it, `stretches` in each.
edges::WallSide side_of(double bevel_deg, const std::vector<double>& slopes, double depth_mm = 14,
                        double deeper_mm = 0.4, int stretches = 2) {
  edges::WallSide side;
  side.points = {0};
  for (std::size_t p = 0; p < slopes.size(); ++p) {
    for (int k = 0; k < stretches; ++k) {
      const double foot = (depth_mm + deeper_mm) * (slopes[p] - std::tan(bevel_deg * kRadians));
      side.readings.push_back({geometry::PhotoIndex(p), slopes[p], depth_mm, 0.08, {foot}});
    }
  }
  return side;
}

// Of its one stretch.
edges::WallSlope only(const edges::WallSide& side) {
  geometry::IndexedVector<geometry::TileIndex, std::vector<edges::WallSide>> sides(1);
  sides[geometry::TileIndex(0)] = {side};
  return edges::wall_slopes(sides, kPlanned_deg)[geometry::TileIndex(0)][0].at.front();
}

// Two slopes give bevel and depth: x2 - x1 = depth (s2 - s1), by hand.
TEST(WallSlope, IsThatOfItsReadings) {
  for (const double bevel : {8.0, 9.5, 12.0}) {
    const edges::WallSlope w = only(side_of(bevel, {0.25, 0.3, 0.55, 0.7}));
    EXPECT_TRUE(w.measured);
    EXPECT_LT(w.sd_deg, 0.6);
    EXPECT_NEAR(w.bevel_deg, bevel, 1.5 * w.sd_deg) << bevel;
  }
}

TEST(WallSlope, IsThePlansWithoutReadings) {
  edges::WallSide side;
  side.points = {0};
  const edges::WallSlope w = only(side);
  EXPECT_FALSE(w.measured);
  EXPECT_NEAR(w.bevel_deg, kPlanned_deg, 1e-9);
  EXPECT_NEAR(w.sd_deg, edges::kPlannedBevelSd_deg, 0.02);
}

TEST(WallSlope, OneReadingIsNotEnough) {
  const edges::WallSlope w = only(side_of(7, {0.3}, 14, 0, 1));
  EXPECT_FALSE(w.measured);
  EXPECT_NEAR(w.bevel_deg, kPlanned_deg, 1e-9);
}

// A line on the form in one photo of four, and a second edge in all of them.
TEST(WallSlope, MistakenReadingsAreOutvoted) {
  edges::WallSide side = side_of(8.5, {0.25, 0.3, 0.35, 0.6});
  side.readings[2].offsets_mm = {side.readings[2].offsets_mm[0] + 1.1};
  side.readings[3].offsets_mm = {side.readings[3].offsets_mm[0] + 1.1};
  for (std::size_t k = 0; k < side.readings.size(); ++k)
    side.readings[k].offsets_mm.push_back(side.readings[k].offsets_mm[0] - 0.7 -
                                          0.15 * static_cast<double>(k));
  const edges::WallSlope w = only(side);
  EXPECT_TRUE(w.measured);
  EXPECT_NEAR(w.bevel_deg, 8.5, 2 * w.sd_deg);
}

struct Bowl {
  geometry::IndexedVector<geometry::TileIndex, std::vector<edges::WallSide>> sides;
  std::vector<double> piece_deg;
};

// Forty pieces with three sides seen and one not; sides of a piece are alike to `side_sd_deg`.
Bowl bowl(double side_sd_deg, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> deviate;
  Bowl out;
  for (int t = 0; t < 40; ++t) {
    out.piece_deg.push_back(kPlanned_deg + 1.2 * deviate(random));
    std::vector<edges::WallSide> sides;
    for (int k = 0; k < 3; ++k) {
      edges::WallSide side = side_of(out.piece_deg.back() + side_sd_deg * deviate(random), {0.25, 0.3, 0.5});
      for (edges::FootReading& r : side.readings) r.offsets_mm[0] += 0.06 * deviate(random);
      sides.push_back(side);
    }
    sides.emplace_back();
    sides.back().points = {0};
    out.sides.push_back(sides);
  }
  return out;
}

// The fourth wall is told by the others only where a piece's walls are alike; either way the uncertainty is
// true.
TEST(WallSlope, UnseenWallsFollowTheirPieceAsFarAsSidesAreAlike) {
  double sd_alike = 0, sd_unlike = 0;
  for (const double side_sd : {0.0, 1.5}) {
    const Bowl b = bowl(side_sd, 5);
    const auto slopes = edges::wall_slopes(b.sides, kPlanned_deg);
    double squares = 0, sd = 0;
    for (std::size_t t = 0; t < b.piece_deg.size(); ++t) {
      const edges::WallSlope& w = slopes[geometry::TileIndex(t)][3];
      squares += std::pow((w.bevel_deg - b.piece_deg[t]) / std::hypot(w.sd_deg, 0), 2) / 40;
      sd += w.sd_deg / 40;
    }
    EXPECT_LT(std::sqrt(squares), 1.3) << side_sd;
    (side_sd > 0 ? sd_unlike : sd_alike) = sd;
  }
  EXPECT_LT(sd_alike, 0.5);
  EXPECT_GT(sd_unlike, 1.0);
}

// In any order of photos and sides the same to rounding.
TEST(WallSlope, OrderOfReadingsChangesNothing) {
  Bowl b = bowl(0.3, 7);
  const auto before = edges::wall_slopes(b.sides, kPlanned_deg);
  std::mt19937 random(3);
  for (std::vector<edges::WallSide>& sides : b.sides) {
    for (edges::WallSide& side : sides) std::shuffle(side.readings.begin(), side.readings.end(), random);
  }
  const auto after = edges::wall_slopes(b.sides, kPlanned_deg);
  for (std::size_t t = 0; t < b.sides.size(); ++t) {
    for (std::size_t k = 0; k < 4; ++k) {
      EXPECT_NEAR(after[geometry::TileIndex(t)][k].bevel_deg, before[geometry::TileIndex(t)][k].bevel_deg,
                  1e-9);
      EXPECT_NEAR(after[geometry::TileIndex(t)][k].sd_deg, before[geometry::TileIndex(t)][k].sd_deg, 1e-9);
    }
  }
}

// Walls that rock along the blade by 2 degrees from end to end of a side of 36 mm: the bowl learns that they do, and every
// end comes out within its uncertainty; a straight wall's ends are as its middle.
TEST(WallSlope, FollowsAWallThatTurnsAlongItsSide) {
  constexpr std::size_t kPoints = 48, kEvery = 4;
  for (const double half_turn_deg : {0.0, 2.0}) {
    std::mt19937 random(17);
    std::normal_distribution<double> deviate;
    geometry::IndexedVector<geometry::TileIndex, std::vector<edges::WallSide>> sides;
    for (int t = 0; t < 24; ++t) {
      edges::WallSide side;
      for (std::size_t i = 0; i < kPoints; ++i) side.points.push_back(i);
      for (std::size_t at = kEvery / 2; at < kPoints; at += kEvery) {
        const double along = 2 * static_cast<double>(at) / kPoints - 1;
        for (edges::FootReading r :
             side_of(kPlanned_deg + half_turn_deg * along, {0.2, 0.3, 0.5}, 14, 0.1, 1).readings) {
          r.offsets_mm[0] += 0.05 * deviate(random);
          r.at = at;
          side.readings.push_back(r);
        }
      }
      sides.push_back({side});
    }
    const auto slopes = edges::wall_slopes(sides, kPlanned_deg);
    double squares = 0, ends = 0;
    for (const std::vector<edges::SideSlope>& of_piece : slopes) {
      ASSERT_EQ(of_piece[0].at.size(), kPoints);
      EXPECT_NEAR(of_piece[0].bevel_deg, kPlanned_deg, 0.5);
      for (const std::size_t i : {std::size_t{3}, kPoints - 4}) {
        const double along = 2 * (static_cast<double>(i) + 0.5) / kPoints - 1;
        const edges::WallSlope& w = of_piece[0].at[i];
        squares += std::pow((w.bevel_deg - kPlanned_deg - half_turn_deg * along) / w.sd_deg, 2) / 48;
        ends += std::abs(w.bevel_deg - kPlanned_deg) / 48;
      }
    }
    EXPECT_LT(std::sqrt(squares), 1.3) << half_turn_deg;
    EXPECT_NEAR(ends, 0.875 * half_turn_deg, 0.4);
  }
}

const BlocksScene& blocks() {
  static const BlocksScene scene;
  return scene;
}

// Walls of 8 and 12 degrees, planned at 10, seen in eighteen photos of 0.2 mm a pixel.
TEST(WallFoot, BevelsOfTwoBlocksComeOutOfThePhotos) {
  const BlocksScene& scene = blocks();
  const auto sides = scene.read();
  const auto slopes = edges::wall_slopes(sides, kPlanned_deg);
  int measured = 0;
  for (std::size_t t = 0; t < 2; ++t) {
    for (std::size_t k = 0; k < slopes[geometry::TileIndex(t)].size(); ++k) {
      if (sides[geometry::TileIndex(t)][k].readings.empty()) continue;
      const edges::WallSlope& w = slopes[geometry::TileIndex(t)][k];
      EXPECT_NEAR(w.bevel_deg, scene.bevel_deg[t], 2.5 * w.sd_deg) << t << " " << k;
      measured += w.measured ? 1 : 0;
    }
  }
  EXPECT_GE(measured, 4);  // either block's wall towards the other, and its free sides
}

TEST(WallFoot, SidesAreThoseTheBlocksFace) {
  const BlocksScene& scene = blocks();
  const auto sides = scene.read();
  for (std::size_t t = 0; t < 2; ++t) {
    std::size_t points = 0, facing = 0;
    for (const edges::WallSide& side : sides[geometry::TileIndex(t)]) {
      points += side.points.size();
      if (!side.faces) continue;
      EXPECT_EQ(side.faces->value, 1 - t);
      ++facing;
    }
    EXPECT_EQ(facing, 1u);
    EXPECT_EQ(points, scene.pieces[geometry::TileIndex(t)].arris.size());
  }
}

std::size_t readings_of(const BlocksScene& scene) {
  std::size_t n = 0;
  for (const auto& sides : scene.read()) {
    for (const edges::WallSide& side : sides) n += side.readings.size();
  }
  return n;
}

TEST(WallFoot, ADarkFormShowsNoFoot) {
  EXPECT_GT(readings_of(blocks()), 100u);
  EXPECT_EQ(readings_of(BlocksScene({.form = 45})), 0u);
}

// Hardly flatter than the wall its roughness hides the foot; from far aside the foot's depth decides all.
TEST(WallFoot, ViewsAlongTheWallAndFlatOnesAreNotRead) {
  const BlocksScene scene({.slopes = {0.22, 1.3}});
  std::size_t n = 0;
  for (const auto& sides : scene.read()) {
    for (const edges::WallSide& side : sides) {
      for (const edges::FootReading& r : side.readings) {
        EXPECT_GT(r.slope, std::tan(kPlanned_deg * kRadians) + 0.04);
        EXPECT_LT(r.slope, std::tan(kPlanned_deg * kRadians) + 0.85);
        ++n;
      }
    }
  }
  EXPECT_GT(n, 10u);
}

// Where the plan's outline, which may be drawn on the form, lies at the foot, a step there may be that line.
TEST(WallFoot, StepsAtAPlannedOutlineAreNotTaken) {
  EXPECT_LT(readings_of(BlocksScene({.plan_inset_mm = 0})), readings_of(blocks()) / 4);
}

TEST(WallFoot, ThreadsChangeNothing) {
  const BlocksScene& scene = blocks();
  const auto one = scene.read(1), two = scene.read(2);
  for (std::size_t t = 0; t < 2; ++t) {
    ASSERT_EQ(one[geometry::TileIndex(t)].size(), two[geometry::TileIndex(t)].size());
    for (std::size_t k = 0; k < one[geometry::TileIndex(t)].size(); ++k) {
      const auto &a = one[geometry::TileIndex(t)][k].readings, &b = two[geometry::TileIndex(t)][k].readings;
      ASSERT_EQ(a.size(), b.size());
      for (std::size_t i = 0; i < a.size(); ++i) EXPECT_EQ(a[i].offsets_mm, b[i].offsets_mm);
    }
  }
}

}  // namespace
}  // namespace interstice
