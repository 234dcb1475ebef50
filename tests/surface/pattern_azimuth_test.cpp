// The turn of the pattern, on painted maps.
#include "surface/pattern_azimuth.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <random>

#include "plan/piece_model.h"
#include "surface/shell_plan.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using testing_plan::shell_plan;

// The plan's faces painted on the map in browns that differ little from piece to piece, turned by `angle`,
// with grain and noise; seams dark or light; nothing known outside.
cv::Mat painted(const plan::Plan& plan, const surface::MapGrid& grid, double angle, bool mirrored,
                double seam, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> tone(80, 180);
  cv::Mat picture(grid.side(), grid.side(), CV_32FC3, cv::Scalar(seam, seam, seam));
  for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
    const plan::PieceFace face = plan::planned_face(plan, geometry::TileIndex(t));
    std::vector<cv::Point> outline;
    for (const Vector2d& p : face.outline) {
      Vector2d uv = plan.profile.locate(face.frame.lift(p)).uv;
      if (mirrored) uv.y() = -uv.y();
      const Vector2d cell = grid.cell({std::cos(angle) * uv.x() - std::sin(angle) * uv.y(),
                                       std::sin(angle) * uv.x() + std::cos(angle) * uv.y()});
      outline.emplace_back(int(std::lround(cell.x())), int(std::lround(cell.y())));
    }
    const float v = tone(random);
    cv::fillPoly(picture, std::vector<std::vector<cv::Point>>{outline}, cv::Scalar(0.6 * v, 0.8 * v, v));
  }
  cv::Mat noise(picture.size(), CV_32FC3);
  cv::RNG rng(seed);
  rng.fill(noise, cv::RNG::NORMAL, 0, 25);
  picture += noise;
  for (int r = 0; r < picture.rows; ++r) {
    for (int c = 0; c < picture.cols; ++c) {
      if (grid.uv(c, r).norm() > plan.profile.length()) picture.at<cv::Vec3f>(r, c) = cv::Vec3f::all(NAN);
    }
  }
  return picture;
}

double off(double a, double b) {
  return std::abs(std::remainder(a - b, 2 * std::numbers::pi));
}

TEST(Turn, FindsTheAngle) {
  const plan::Plan plan = shell_plan();
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  unsigned seed = 1;
  for (const double angle : {0.4, 2.345, -1.9}) {
    const double seam = seed % 2 ? 30 : 200;  // dark or light
    const surface::Turn turn = surface::find_turn(painted(plan, grid, angle, false, seam, ++seed), grid, plan,
                                                  plan.tile_thickness_mm);
    EXPECT_LT(off(turn.angle, angle), 0.6 * std::numbers::pi / 180) << angle;  // a map cell at the rim
    EXPECT_GT(turn.clearance, 3) << angle;
    EXPECT_GT(turn.explained, 0.2);
    EXPECT_LT(turn.explained, 1);
  }
}

// A third of the shell glued on, with dark seams, on a bright form; the plan has these pieces or all.
TEST(Turn, SeamsAreNotHiddenUnderPiecesBesideABrightForm) {
  const plan::Plan whole = shell_plan();
  plan::Plan third = whole;
  third.tiles = {};
  for (const plan::PlannedTile& tile : whole.tiles) {
    Vector2d sum(0, 0);
    for (const Vector2d& p : tile.outline) sum += p;
    if (std::abs(std::atan2(sum.y(), sum.x())) < std::numbers::pi / 3) third.tiles.push_back(tile);
  }
  ASSERT_GE(third.tiles.size(), 6u);
  const surface::MapGrid grid = surface::MapGrid::covering(whole.profile.length() + 2, 1.0);
  for (const double angle : {0.4, 2.345}) {
    cv::Mat picture = painted(third, grid, angle, false, 230, 9);
    cv::Mat pieces, dark;
    cv::inRange(painted(third, grid, angle, false, -1e4, 9), cv::Scalar::all(-500), cv::Scalar::all(500),
                pieces);
    cv::dilate(pieces, dark, cv::getStructuringElement(cv::MORPH_ELLIPSE, {7, 7}));
    picture.setTo(cv::Scalar::all(15), dark & ~pieces);
    for (const plan::Plan& plan : {third, whole}) {
      const surface::Turn turn = surface::find_turn(picture, grid, plan, whole.tile_thickness_mm);
      EXPECT_LT(off(turn.angle, angle), 0.6 * std::numbers::pi / 180) << angle << " " << plan.tiles.size();
      EXPECT_GT(turn.over_surroundings, 4.5) << angle << " " << plan.tiles.size();
    }
  }
}

TEST(Turn, TheMirroredPlanFitsLess) {
  const plan::Plan plan = shell_plan();
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  const cv::Mat right = painted(plan, grid, 0.8, false, 40, 5), wrong = painted(plan, grid, 0.8, true, 40, 5);
  EXPECT_GT(surface::find_turn(right, grid, plan, 12).explained,
            1.3 * surface::find_turn(right, grid, plan, 12, true).explained);
  const surface::Turn mirrored = surface::find_turn(wrong, grid, plan, 12, true);
  EXPECT_GT(mirrored.explained, 1.3 * surface::find_turn(wrong, grid, plan, 12).explained);
  EXPECT_LT(off(mirrored.angle, 0.8), 0.01);
}

TEST(Turn, NothingStandsOutOfNoise) {
  const plan::Plan plan = shell_plan();
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  cv::Mat noise(grid.side(), grid.side(), CV_32FC3);
  cv::RNG rng(3);
  rng.fill(noise, cv::RNG::NORMAL, 120, 25);
  EXPECT_LT(surface::find_turn(noise, grid, plan, 12).explained, 0.01);
  EXPECT_LT(surface::find_turn(noise, grid, plan, 12).over_surroundings, 4.5);
  const cv::Mat unknown(grid.side(), grid.side(), CV_32FC3, cv::Scalar::all(NAN));
  EXPECT_EQ(surface::find_turn(unknown, grid, plan, 12).explained, 0);
}

// Where pieces differ little in light from each other and from what stands between them (resin as light as the wood,
// near-black wood and resin), and a lamp from the side makes half the form brighter, the plan's pattern does not stand
// out; the wood's own grain does.
TEST(Turn, TheSameWoodAtAnotherTimeTellsTheTurnWhereThePatternDoesNot) {
  const plan::Plan plan = shell_plan();
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  const std::vector<geometry::Polygon> outlines = surface::planned_on_map(plan, plan.tile_thickness_mm);
  const double angle = 2.345;
  cv::RNG rng(7);
  cv::Mat grain(grid.side(), grid.side(), CV_32FC3), mask = cv::Mat::zeros(grain.size(), CV_8U);
  rng.fill(grain, cv::RNG::NORMAL, 0, 12);
  cv::GaussianBlur(grain, grain, {0, 0}, 2);
  for (const geometry::Polygon& outline : outlines) {
    std::vector<cv::Point> points;
    for (const Vector2d& p : outline)
      points.emplace_back(int(std::lround(grid.cell(p).x())), int(std::lround(grid.cell(p).y())));
    cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{points}, 255);
  }
  cv::Mat then = grain + cv::Scalar::all(60);
  then.setTo(cv::Scalar::all(10), ~mask);
  // Now: the seams as light as the wood, twice the light on one side, noise.
  cv::Mat now(grain.size(), CV_32FC3), noise(grain.size(), CV_32FC3);
  rng.fill(noise, cv::RNG::NORMAL, 0, 3);
  for (int r = 0; r < now.rows; ++r) {
    for (int c = 0; c < now.cols; ++c) {
      const Vector2d uv = grid.uv(c, r);
      const Vector2d back(std::cos(angle) * uv.x() + std::sin(angle) * uv.y(),
                          -std::sin(angle) * uv.x() + std::cos(angle) * uv.y());
      const Vector2d cell = grid.cell(back);
      const int column = std::clamp(int(std::lround(cell.x())), 0, now.cols - 1),
                row = std::clamp(int(std::lround(cell.y())), 0, now.rows - 1);
      const bool wood = mask.at<uchar>(row, column) > 0;
      const auto light = float(1 + 0.6 * uv.x() / plan.profile.length());
      now.at<cv::Vec3f>(r, c) =
          light * (wood ? then.at<cv::Vec3f>(row, column) : cv::Vec3f::all(60)) + noise.at<cv::Vec3f>(r, c);
      if (uv.norm() > plan.profile.length()) now.at<cv::Vec3f>(r, c) = cv::Vec3f::all(NAN);
    }
  }
  const surface::Turn plain = surface::find_turn(now, grid, plan, plan.tile_thickness_mm);
  EXPECT_TRUE(plain.clearance < 3 && plain.over_surroundings < 4.5);
  const std::vector<double> turns = surface::alike_turns(now, then, grid, outlines, 3, 1);
  ASSERT_EQ(turns.size(), 3u);
  EXPECT_LT(off(turns[0], angle), 0.6 * std::numbers::pi / 180);
  EXPECT_GT(off(turns[1], turns[0]), 1.5 * std::numbers::pi / 180);
}

TEST(Turn, TheRightTurnIsAmongTheLikelyOnesOfAFaintPattern) {
  const plan::Plan plan = shell_plan();
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  const double angle = -1.2;
  cv::Mat faint = painted(plan, grid, angle, false, 110, 3), noise(faint.size(), CV_32FC3);
  cv::RNG(11).fill(noise, cv::RNG::NORMAL, 0, 60);
  faint += noise;
  const std::vector<double> turns =
      surface::likely_turns(faint, grid, surface::planned_on_map(plan, plan.tile_thickness_mm), 6, 1);
  ASSERT_EQ(turns.size(), 6u);
  EXPECT_TRUE(std::any_of(turns.begin(), turns.end(),
                          [&](double t) { return off(t, angle) < 0.6 * std::numbers::pi / 180; }));
}

}  // namespace
}  // namespace interstice
