// Measured arrises against their planned shape, and the doubt about an edge one photo alone shows.
#include "edges/plan_shape.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>

#include <cmath>
#include <numbers>
#include <random>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

plan::PieceFace planned_piece() {  // 36 x 24 mm, one corner cut, on a tilted plane
  plan::PieceFace face;
  face.frame =
      geometry::make_plane_frame({80, -20, 50}, Vector3d(0.6, -0.2, 0.7).normalized(), Vector3d::UnitX());
  face.outline = geometry::resampled({{-18, -12}, {18, -12}, {18, 12}, {-10, 12}, {-18, 5}}, 0.25);
  return face;
}

std::vector<Vector3d> lifted(const geometry::PlaneFrame& frame, const geometry::Polygon& outline) {
  std::vector<Vector3d> out;
  for (const Vector2d& p : outline) out.push_back(frame.lift(p));
  return out;
}

TEST(PlanShape, FindsHowAPieceLies) {
  const plan::PieceFace planned = planned_piece();
  const Vector2d moved(0.8, -0.5), centre = geometry::centroid(planned.outline);
  const double turned = 0.02;
  geometry::Polygon built;
  for (const Vector2d& p : geometry::resampled(geometry::grown(planned.outline, 0.3), 0.75))
    built.push_back(centre + moved + Eigen::Rotation2Dd(turned) * (p - centre));
  const edges::PlanShape shape = edges::shape_against_plan(planned, lifted(planned.frame, built));
  EXPECT_NEAR((shape.moved_mm - moved).norm(), 0, 0.03);
  EXPECT_NEAR(shape.turned_rad, turned, 0.002);
  ASSERT_EQ(shape.off_mm.size(), built.size());
  for (const double off : shape.off_mm) EXPECT_NEAR(off, 0, 0.15);  // 0.3 (sqrt 2 - 1) at corners
}

TEST(PlanShape, TellsHowFarAnEdgeLiesOff) {
  const plan::PieceFace planned = planned_piece();
  geometry::Polygon built = geometry::resampled(planned.outline, 0.75);
  std::vector<std::size_t> astray;
  for (std::size_t i = 0; i < built.size(); ++i) {  // 8 mm of the lower edge, 1.5 mm outward
    if (built[i].y() < -11.9 && std::abs(built[i].x()) < 4) built[i].y() -= 1.5, astray.push_back(i);
  }
  const edges::PlanShape shape = edges::shape_against_plan(planned, lifted(planned.frame, built));
  ASSERT_GE(astray.size(), 9u);
  for (const std::size_t i : astray) EXPECT_NEAR(shape.off_mm[i], 1.5, 0.35) << i;
  std::vector<double> off = shape.off_mm;
  EXPECT_EQ(edges::off_plan_sd_mm(off), std::nullopt);  // one piece is too little to tell
  for (int i = 0; i < 4; ++i) off.insert(off.end(), shape.off_mm.begin(), shape.off_mm.end());
  EXPECT_LT(*edges::off_plan_sd_mm(off), 0.15);
}

// By trials: one line in ten is another one, anywhere within 3 mm, while the edge is where saws put it; the
// others are the edge. Of all lines seen that far off the plan, the mean square of what they are wrong by.
TEST(OtherLine, IsWhatTrialsGive) {
  constexpr double kSd_mm = 0.25;
  std::mt19937 random(5);
  std::normal_distribution<double> sawn(0, kSd_mm);
  std::uniform_real_distribution<double> anywhere(-3, 3), one(0, 1);
  constexpr int kBins = 15;
  std::vector<double> sum2(kBins, 0), count(kBins, 0), stated(kBins, 0);
  for (int i = 0; i < 2000000; ++i) {
    const double edge = sawn(random), line = one(random) < 0.1 ? anywhere(random) : edge;
    const auto bin = static_cast<std::size_t>(std::abs(line) / 0.1);
    if (bin >= kBins) continue;
    sum2[bin] += (line - edge) * (line - edge);
    stated[bin] += edges::other_line_variance(line, kSd_mm);
    count[bin] += 1;
  }
  for (std::size_t b = 0; b < kBins; ++b)
    EXPECT_NEAR(std::sqrt(stated[b] / count[b]), std::sqrt(sum2[b] / count[b]), 0.02) << b;
  EXPECT_LT(stated[0] / count[0], 0.05 * 0.05);
  EXPECT_GT(stated[kBins - 1] / count[kBins - 1], 1.4 * 1.4);
}

constexpr double kSawn_mm = 0.25;
const edges::UsualShape kUsual{kSawn_mm, kSawn_mm};

// A line astray for 5 mm is doubted with what leads to it; where three photos agree nothing is.
TEST(OtherLine, LeadsAstrayAndBack) {
  std::vector<double> off(100, 0.05), photos(100, 1);
  for (std::size_t i = 50; i < 57; ++i) off[i] = 1.5;
  const std::vector<double> shown = edges::other_line_variances(off, photos, kUsual);
  const double astray = edges::other_line_variance(1.5, kSawn_mm);
  for (std::size_t i = 50 - 4; i < 57 + 4; ++i) EXPECT_DOUBLE_EQ(shown[i], astray) << i;
  EXPECT_LT(shown[40], 0.1 * astray);
  for (std::size_t i = 53; i < 70; ++i) photos[i] = 3;
  const std::vector<double> confirmed = edges::other_line_variances(off, photos, kUsual);
  for (std::size_t i = 53; i < 70; ++i) EXPECT_EQ(confirmed[i], 0) << i;
  EXPECT_DOUBLE_EQ(confirmed[52], astray);
  EXPECT_LT(confirmed[75], 0.1 * astray);
}

// Two photos see the same shadow: less doubt than with one, not none; half as often another line.
TEST(OtherLine, TwoPhotosAreNoProof) {
  const std::vector<double> off(100, 0.7);
  double last = 1e9;
  for (const double photos : {1.0, 1.5, 2.0, 2.5, 3.0}) {
    const double now = edges::other_line_variances(off, std::vector<double>(100, photos), kUsual)[50];
    EXPECT_LT(now, last) << photos;
    last = now;
  }
  EXPECT_EQ(last, 0);
  EXPECT_DOUBLE_EQ(edges::other_line_variances(off, std::vector<double>(100, 2), kUsual)[50],
                   edges::other_line_variance(0.7, kSawn_mm, 0.05));
}

// A blade leaves no bump half a millimetre high and three long: where two photos show one on an edge as far off its plan
// as edges are, it is doubted by its height. A whole side that lies as far off is not.
TEST(OtherLine, NoBladeCutsABump) {
  const edges::UsualShape usual{0.3, 0.05};
  std::vector<double> off(120, 0.02), photos(120, 2);
  for (std::size_t i = 50; i < 54; ++i) off[i] = 0.5;
  const std::vector<double> bump = edges::other_line_variances(off, photos, usual);
  for (std::size_t i = 50; i < 54; ++i) EXPECT_GT(std::sqrt(bump[i]), 0.45) << i;
  EXPECT_LT(std::sqrt(bump[80]), 0.1);
  for (std::size_t i = 20; i < 80; ++i) off[i] = 0.5;
  EXPECT_LT(std::sqrt(edges::other_line_variances(off, photos, usual)[50]), 0.3);
}

// By hand: a step of one in a long outline is no bump in its middle, a spike is all of itself; round the end too.
TEST(OffBeside, IsWhatLeavesTheMedianOfTheNeighbours) {
  std::vector<double> off(60, 0.0);
  for (std::size_t i = 20; i < 50; ++i) off[i] = 1;
  off[0] = 0.4;
  const std::vector<double> beside = edges::off_beside(off);
  EXPECT_EQ(beside[35], 0);
  EXPECT_EQ(beside[20], 0);
  EXPECT_EQ(beside[0], 0.4);
  EXPECT_EQ(beside[58], 0);
}

// Of a normal deviate one in twenty exceeds 1.96 standard deviations (any table of it).
TEST(OffBeside, ItsSizeIsThatOneInTwentyExceeds) {
  std::mt19937 random(11);
  std::normal_distribution<double> deviate(0, 0.2);
  std::vector<double> beside;
  for (int i = 0; i < 20000; ++i) beside.push_back(deviate(random));
  EXPECT_NEAR(*edges::off_beside_sd_mm(beside), 0.2, 0.005);
  EXPECT_EQ(edges::off_beside_sd_mm({0.1, 0.2}), std::nullopt);
}

}  // namespace
}  // namespace interstice
