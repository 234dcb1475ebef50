// Seams between two bars of known gap, their uncertainty, and the verdict on it.
#include "seams/seams.h"

#include <gtest/gtest.h>
#include <optional>

#include <cmath>
#include <numbers>
#include <random>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kThickness = 14, kGrain = 0.03, kHalf = 20;  // mm; sd of the arris; half a bar's length

// A flat form under the bars, so that the map is x, y.
geometry::Profile table() {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 50; ++i) rz.emplace_back(4.0 * i, -kThickness);
  return geometry::Profile(rz);
}

// A bar with square walls and its face in z = 0, turned about its corner (x0, -kHalf).
seams::MeasuredTile bar(double x0, double x1, double turn = 0, double sd_mm = kGrain) {
  const Vector2d corners[4] = {{x0, -kHalf}, {x1, -kHalf}, {x1, kHalf}, {x0, kHalf}};
  seams::MeasuredTile tile;
  for (int side = 0; side < 4; ++side) {
    const Vector2d from = corners[side], way = corners[(side + 1) % 4] - from;
    const int n = static_cast<int>(std::ceil(way.norm() / 0.8));
    for (int k = 0; k < n; ++k) {
      const Vector2d d = from + way * k / n - corners[0];
      const double c = std::cos(turn), s = std::sin(turn);
      const Vector3d p(x0 + c * d.x() - s * d.y(), -kHalf + s * d.x() + c * d.y(), 0);
      tile.solid.arris.push_back(p);
      tile.solid.root.emplace_back(p.x(), p.y(), -kThickness);
      tile.sd_mm.push_back(sd_mm);
    }
  }
  return tile;
}

// The walls of a bar lean out below its arris by an angle, known to within `sd_deg`.
seams::MeasuredTile leaning(seams::MeasuredTile tile, double out_deg, double sd_deg) {
  const double out = kThickness * std::tan(out_deg * std::numbers::pi / 180);
  Vector3d middle = Vector3d::Zero();
  for (const Vector3d& p : tile.solid.arris) middle += p / static_cast<double>(tile.solid.arris.size());
  for (std::size_t i = 0; i < tile.solid.root.size(); ++i)
    tile.solid.root[i].x() += (tile.solid.arris[i].x() > middle.x() ? 1 : -1) * out;
  tile.walls.assign(tile.solid.arris.size(), {-out_deg, sd_deg, true});
  return tile;
}

std::vector<seams::FitSeam> seams_of(std::vector<seams::MeasuredTile> tiles,
                                     const seams::SeamOptions& options = {}) {
  const std::vector<std::string> labels{"A01", "A02", "A03"};
  return seams::measure_seams(
      geometry::IndexedVector<geometry::TileIndex, seams::MeasuredTile>(std::move(tiles)), labels, table(),
      options);
}

// Guard band g = 1.645 u about a lower limit, in the manner of ISO 14253-1:2017 (one-sided 95 %). P is the
// normal distribution function of (w - 3) / u, as any table of it gives; P and verdicts agree.
TEST(Verdict, AgreesWithTheProbabilityOfFilling) {
  struct Case {
    double width, sd, probability;
    seams::Verdict verdict;
  };
  const Case cases[] = {{3.12, 0.10, 0.8849, seams::Verdict::doubtful},
                        {3.20, 0.10, 0.9772, seams::Verdict::clear},
                        {3.30, 0.20, 0.9332, seams::Verdict::doubtful},
                        {2.90, 0.10, 0.1587, seams::Verdict::doubtful},
                        {2.80, 0.10, 0.0228, seams::Verdict::too_tight}};
  for (const Case& c : cases) {
    const double p = 0.5 * std::erfc(-(c.width - 3.0) / c.sd / std::numbers::sqrt2);
    EXPECT_NEAR(p, c.probability, 5e-5);
    EXPECT_EQ(core::judge({c.width, c.sd}, std::nullopt, 3.0).verdict, c.verdict) << c.width << " " << c.sd;
  }
  for (double width = 2.5; width < 3.5; width += 0.0137) {
    for (double sd = 0.02; sd < 0.4; sd += 0.031) {
      const double p = 0.5 * std::erfc(-(width - 3.0) / sd / std::numbers::sqrt2);
      const seams::Verdict expected = p >= 0.95   ? seams::Verdict::clear
                                      : p <= 0.05 ? seams::Verdict::too_tight
                                                  : seams::Verdict::doubtful;
      if (std::abs(p - 0.95) < 1e-3 || std::abs(p - 0.05) < 1e-3) continue;
      EXPECT_EQ(core::judge({width, sd}, std::nullopt, 3.0).verdict, expected) << width << " " << sd;
    }
  }
}

// 1/8 inch is 3.175 mm (the inch of 1959 is 25.4 mm): another limit than 3 mm, with another answer.
TEST(Verdict, AnEighthOfAnInchIsNotThreeMillimetres) {
  EXPECT_EQ(core::judge({3.1, 0.02}, std::nullopt, 3.0).verdict, seams::Verdict::clear);
  EXPECT_EQ(core::judge({3.1, 0.02}, std::nullopt, 25.4 / 8).verdict, seams::Verdict::too_tight);
}

TEST(Verdict, WithoutUncertaintyTheLimitDecides) {
  EXPECT_EQ(core::judge({3.0, 0}, std::nullopt, 3.0).verdict, seams::Verdict::clear);
  EXPECT_EQ(core::judge({std::nextafter(3.0, 0), 0}, std::nullopt, 3.0).verdict, seams::Verdict::too_tight);
}

// A seam exactly at the limit is the one most easily called wrongly: one time in twenty either way.
TEST(Verdict, IsWrongOneTimeInTwentyAtTheLimit) {
  std::mt19937 random(11);
  std::normal_distribution<double> error(0, 0.1);
  int clear = 0, tight = 0;
  constexpr int kDraws = 40000;
  for (int i = 0; i < kDraws; ++i) {
    const seams::Verdict v = core::judge({3.0 + error(random), 0.1}, std::nullopt, 3.0).verdict;
    clear += v == seams::Verdict::clear ? 1 : 0;
    tight += v == seams::Verdict::too_tight ? 1 : 0;
  }
  EXPECT_NEAR(clear / double(kDraws), 0.05, 0.005);  // 4.5 sd of the count
  EXPECT_NEAR(tight / double(kDraws), 0.05, 0.005);
}

TEST(Seams, ParallelBarsHaveTheirGap) {
  for (const double gap : {0.4, 2.2, 3.0, 3.5, 7.5}) {
    const auto seams = seams_of({leaning(bar(-30, 0), 0, 0.1), leaning(bar(gap, gap + 30), 0, 0.1)});
    ASSERT_EQ(seams.size(), 1u) << gap;
    const seams::FitSeam& s = seams[0];
    EXPECT_EQ(s.tiles, (std::array<std::string, 2>{"A01", "A02"}));
    ASSERT_TRUE(s.narrowest_mm);
    EXPECT_NEAR(*s.narrowest_mm, gap, 1e-9);
    EXPECT_NEAR(s.at.x(), gap / 2, 1e-6);
    EXPECT_NEAR(s.at.z(), 0, 1e-9);
    EXPECT_NEAR(s.map.x(), gap / 2, 1e-6);
    EXPECT_NEAR(s.map.y(), s.at.y(), 1e-6);
    // Past either end the one arris goes on round its corner while the other stands still, until the width
    // reaches 8 mm: half of that way at each end. Steps of half a millimetre.
    EXPECT_NEAR(s.length_mm, 2 * kHalf + (8 - gap), 1.01);
    EXPECT_NEAR(s.tight_length_mm, gap < 3 ? 2 * kHalf + (3 - gap) : 0, 1.01);
    ASSERT_TRUE(s.throat_mm);
    EXPECT_NEAR(*s.throat_mm, gap, 1e-9);  // square walls
    EXPECT_EQ(s.verdict, gap == 3.0  ? seams::Verdict::doubtful
                         : gap < 3.0 ? seams::Verdict::too_tight
                                     : seams::Verdict::clear);
  }
}

TEST(Seams, AnOpeningWedgeIsTightWhereItIsNarrow) {
  // Turned clockwise about its lower left corner the second bar leans away from the first upwards.
  const double slope = 0.1, gap = 1.8, angle = -std::atan(slope);
  const auto seams = seams_of({bar(-30, 0), bar(gap, gap + 30, angle)});
  ASSERT_EQ(seams.size(), 1u);
  EXPECT_NEAR(*seams[0].narrowest_mm, gap, 0.01);
  EXPECT_NEAR(seams[0].at.y(), -kHalf, 0.6);
  // Along the edges to where it is 3 mm wide, and round the corner at its narrow end.
  EXPECT_NEAR(seams[0].tight_length_mm, (3.0 - gap) / slope + (3.0 - gap) / 2, 1.01);
  EXPECT_EQ(seams[0].verdict, seams::Verdict::too_tight);
}

// By as much as they would have to come apart, whichever face lies higher: a height of its own is no way out.
// That is what was measured; wood does not pass through wood, so the seam's width is none.
TEST(Seams, OverlappingPiecesTouch) {
  for (const double lift : {-0.2, -1e-6, 0.0, 1e-6, 0.2}) {
    seams::MeasuredTile high = bar(-0.5, 30);
    high.solid.face.origin.z() = lift;
    for (Vector3d& p : high.solid.arris) p.z() = lift;
    const auto seams = seams_of({bar(-30, 0), high});
    ASSERT_EQ(seams.size(), 1u) << lift;
    double least = 1;
    for (const seams::SeamSample& x : seams[0].samples) least = std::min(least, x.width_mm);
    EXPECT_NEAR(least, -0.5, 1e-9) << lift;
    EXPECT_EQ(seams[0].narrowest_mm, 0.0) << lift;
    EXPECT_EQ(seams[0].throat_mm, 0.0) << lift;
    EXPECT_EQ(seams[0].verdict, seams::Verdict::too_tight) << lift;
  }
}

TEST(Seams, FarOrAbsentPiecesHaveNone) {
  EXPECT_TRUE(seams_of({bar(-30, 0), bar(8.1, 30)}).empty());
  EXPECT_TRUE(seams_of({bar(-30, 0), seams::MeasuredTile{}}).empty());
  EXPECT_TRUE(seams_of({}).empty());
}

TEST(Seams, OrderOfThePiecesChangesNoWidth) {
  const auto ab = seams_of({bar(-30, 0), bar(2.7, 30, -0.03)}),
             ba = seams_of({bar(2.7, 30, -0.03), bar(-30, 0)});
  ASSERT_EQ(ab.size(), 1u);
  ASSERT_EQ(ba.size(), 1u);
  EXPECT_NEAR(*ab[0].narrowest_mm, *ba[0].narrowest_mm, 1e-9);
  EXPECT_NEAR(*ab[0].u95_mm, *ba[0].u95_mm, 1e-9);
  EXPECT_NEAR(ab[0].length_mm, ba[0].length_mm, 1e-9);
}

// Independent contributions add by squares and the result is doubled (GUM, JCGM 100:2008, equation 10 and
// 6.2.1 with k = 2); those that go the same way on both edges add first (5.2.2, example: ten resistors).
TEST(Seams, UncertaintiesAddBySquares) {
  seams::MeasuredTile a = bar(-30, 0, 0, 0.06), b = bar(4, 34, 0, 0.08);
  a.shared_error_mm.assign(a.sd_mm.size(), 0.03);
  b.shared_error_mm.assign(b.sd_mm.size(), 0.05);
  seams::SeamOptions options;
  options.scale_sd = 0.01;
  const auto seams = seams_of({a, b}, options);
  ASSERT_EQ(seams.size(), 1u);
  EXPECT_NEAR(*seams[0].u95_mm, 2 * std::sqrt(0.06 * 0.06 + 0.08 * 0.08 + 0.08 * 0.08 / 3 + 0.04 * 0.04),
              1e-9);
}

// Two photos that lie off in their height by 0.1 mm each, every edge seen by one of them; or both edges by
// both.
TEST(Seams, OfAPhotosErrorOnlyTheDifferenceRemains) {
  scan::Scan scan;
  for (const double x : {-200.0, 200.0}) {
    scan::ScannedPhoto photo;
    photo.camera_T_bowl = Eigen::Isometry3d::Identity();  // looks down: x right, y towards the viewer
    photo.camera_T_bowl.linear() << 1, 0, 0, 0, -1, 0, 0, 0, -1;
    photo.camera_T_bowl.translation() = Vector3d(-x, 0, 300);
    photo.covariance(5, 5) = 0.1 * 0.1;
    scan.photos.push_back(photo);
  }
  seams::SeamOptions options;
  options.photos = edges::PhotoErrors(scan);
  const auto u95 = [&](const Vector2d& shares_a, const Vector2d& shares_b) {
    seams::MeasuredTile a = bar(-30, -2, 0, 0), b = bar(2, 30, 0, 0);
    a.shares.assign(a.sd_mm.size(), shares_a);
    b.shares.assign(b.sd_mm.size(), shares_b);
    return *seams_of({a, b}, options).at(0).u95_mm;
  };
  // Seen under 200 in 300, an error of 0.1 in height is 0.0667 across.
  const double one = 0.1 * 200 / 300;
  EXPECT_NEAR(u95({1, 0}, {0, 1}), 2 * std::sqrt(2.0) * one, 1e-9);
  EXPECT_NEAR(u95({0.5, 0.5}, {0.5, 0.5}), 0, 1e-9);
  EXPECT_NEAR(u95({1, 0}, {0.5, 0.5}), 2 * std::sqrt(0.5) * one, 1e-9);
}

TEST(Seams, WhatNobodySawHasNoVerdict) {
  const auto seams = seams_of({bar(-30, 0, 0, -0.5), bar(3.5, 30)});
  ASSERT_EQ(seams.size(), 1u);
  EXPECT_EQ(seams[0].verdict, seams::Verdict::unseen);
  EXPECT_FALSE(seams[0].narrowest_mm || seams[0].u95_mm);
}

// A stretch nobody saw may hide a narrower place: not clear. What is tight where it was seen stays tight.
TEST(Seams, AnUnseenStretchIsNotCalledClear) {
  for (const double gap : {3.5, 2.5}) {
    seams::MeasuredTile a = bar(-30, 0);
    for (std::size_t i = 0; i < a.sd_mm.size(); ++i) {
      const Vector3d& p = a.solid.arris[i];
      if (p.x() > -1 && p.y() > 5) a.sd_mm[i] = -0.5;
    }
    const auto seams = seams_of({a, bar(gap, gap + 30)});
    ASSERT_EQ(seams.size(), 1u);
    EXPECT_NEAR(*seams[0].narrowest_mm, gap, 1e-9);
    EXPECT_LT(seams[0].at.y(), 6);
    EXPECT_GT(*seams[0].u95_mm, 0.99);
    EXPECT_EQ(seams[0].verdict, gap < 3 ? seams::Verdict::too_tight : seams::Verdict::doubtful);
  }
}

TEST(Seams, ThreadsChangeNothing) {
  seams::SeamOptions one, two;
  one.threads = 1;
  two.threads = 2;
  const std::vector<seams::MeasuredTile> tiles{bar(-30, 0), bar(2.7, 30, -0.03), bar(-60, -33, 0.01)};
  const auto a = seams_of(tiles, one), b = seams_of(tiles, two);
  ASSERT_EQ(a.size(), 2u);
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    EXPECT_EQ(a[i].tiles, b[i].tiles);
    EXPECT_EQ(a[i].narrowest_mm, b[i].narrowest_mm);
    EXPECT_EQ(a[i].u95_mm, b[i].u95_mm);
  }
}

// One bar stands 4 mm higher: the mouth lies between its wall and the other's arris, and the bevel's own
// uncertainty of 1.5 degrees at that depth enters: 4 mm * 0.02618 = 0.1047 mm.
TEST(Seams, AMouthOnAWallIsLessSure) {
  seams::MeasuredTile low = bar(0, 40), high = bar(43.5, 83.5);
  for (std::vector<Vector3d>* ring : {&high.solid.arris, &high.solid.root}) {
    for (Vector3d& p : *ring) p.z() += 4;
  }
  high.solid.face.origin.z() += 4;
  const std::vector<seams::FitSeam> seams = seams_of({low, high});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_NEAR(*seams[0].narrowest_mm, 3.5, 1e-6);
  EXPECT_NEAR(*seams[0].u95_mm, 2 * std::sqrt(2 * kGrain * kGrain + 0.1047 * 0.1047), 2e-3);
  // The wall measured to half a degree: 4 mm * 0.008727 = 0.0349 mm. Only the wall the mouth ends on counts.
  high.walls.assign(high.solid.arris.size(), {0, 0.5, true});
  EXPECT_NEAR(*seams_of({low, high})[0].u95_mm, 2 * std::sqrt(2 * kGrain * kGrain + 0.0349 * 0.0349), 2e-3);
}

TEST(Seams, AThroatComesFromWallsOnlyWhereBothAreMeasured) {
  seams::MeasuredTile left = bar(0, 40), right = bar(43.5, 83.5);
  EXPECT_EQ(seams_of({left, right})[0].throat_from, seams::ThroatFrom::bevel);
  left.walls.assign(left.solid.arris.size(), {0, 0.3, true});
  EXPECT_EQ(seams_of({left, right})[0].throat_from, seams::ThroatFrom::bevel);
  right.walls.assign(right.solid.arris.size(), {0, 0.3, true});
  EXPECT_EQ(seams_of({left, right})[0].throat_from, seams::ThroatFrom::walls);
  for (std::size_t i = 0; i < right.walls.size(); ++i)  // but for the side the throat lies at
    right.walls[i].measured = right.solid.arris[i].x() > 44;
  EXPECT_EQ(seams_of({left, right})[0].throat_from, seams::ThroatFrom::bevel);
}

// Worked by hand: walls 3.6 mm apart at the mouth that lean towards each other by 2 degrees stand 3.6 - 2 * 14 tan 2
// = 2.622 mm apart at their feet; known to 0.3 degrees (0.005236 rad) each, u^2 = 2 * 0.03^2 + 2 * (14 * 0.005236)^2,
// u = 0.1120 mm. The finished wall down to 5 mm ends at 3.2508 mm with u = 0.0563 mm.
TEST(Seams, APinchBehindAWideMouth) {
  const std::vector<seams::MeasuredTile> pieces{leaning(bar(-30, 0), 2, 0.3),
                                                leaning(bar(3.6, 33.6), 2, 0.3)};
  const std::vector<seams::FitSeam> whole = seams_of(pieces);
  ASSERT_EQ(whole.size(), 1u);
  EXPECT_NEAR(*whole[0].narrowest_mm, 3.6 * std::cos(2 * std::numbers::pi / 180), 1e-3);
  EXPECT_NEAR(*whole[0].throat_mm, 2.622, 1e-3);
  EXPECT_NEAR(*whole[0].throat_u95_mm, 2 * 0.1120, 2e-3);
  EXPECT_EQ(whole[0].verdict, seams::Verdict::pinched);
  // The edges' 40 mm, and round the corners at either end until the feet stand 3 mm apart.
  EXPECT_GE(whole[0].pinched_length_mm, 40);
  EXPECT_LE(whole[0].pinched_length_mm, 46);
  EXPECT_NEAR(whole[0].throat_at.z(), -kThickness, 0.1);
  seams::SeamOptions options;
  options.finished_wall = plan::FinishedWall{0, 5};
  const std::vector<seams::FitSeam> turned = seams_of(pieces, options);
  EXPECT_NEAR(*turned[0].throat_mm, 3.6 - 10 * std::tan(2 * std::numbers::pi / 180), 1e-3);
  EXPECT_NEAR(*turned[0].throat_u95_mm, 2 * 0.0563, 2e-3);
  EXPECT_EQ(turned[0].verdict, seams::Verdict::clear);
  EXPECT_EQ(turned[0].pinched_length_mm, 0);
}

// The same known by the saw alone (1.5 degrees): u = 0.520 mm, neither narrow nor wide is likely enough.
TEST(Seams, AThroatNobodySawIsInDoubt) {
  const std::vector<seams::FitSeam> seams =
      seams_of({leaning(bar(-30, 0), 2, 1.5), leaning(bar(4.0, 34.0), 2, 1.5)});
  EXPECT_EQ(seams[0].verdict, seams::Verdict::doubtful);
  EXPECT_EQ(seams[0].doubt, seams::Doubt::throat);
  EXPECT_NEAR(*seams[0].throat_u95_mm, 2 * 0.520, 5e-3);
}

// Upright walls are as far apart at their feet as at the mouth, but less surely so: the mouth's proof is not enough.
TEST(Seams, UprightWallsAreLessSureAtTheirFeet) {
  for (const double sd_deg : {0.2, 1.5}) {
    const auto seams = seams_of({leaning(bar(-30, 0), 0, sd_deg), leaning(bar(3.4, 33.4), 0, sd_deg)});
    EXPECT_NEAR(*seams[0].throat_mm, 3.4, 1e-6);
    EXPECT_EQ(seams[0].verdict, sd_deg < 1 ? seams::Verdict::clear : seams::Verdict::doubtful) << sd_deg;
  }
}

}  // namespace
}  // namespace interstice
