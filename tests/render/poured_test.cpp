// Poured resin: openings, volumes and levels against closed forms; its picture against what must be so.
#include "renderer/poured.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/errors.h"
#include "render/scenes.h"
#include "renderer/picture.h"
#include "renderer/settings.h"

namespace interstice::renderer {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

// A broad low form whose pole lies under two blocks with level faces: nearly flat there.
SceneOptions over_blocks() {
  SceneOptions o = plain_options(400, 300, 500);
  o.form = {110, 44, 2.6, 0, 0};
  o.resin.colour = "black";
  o.resin.step_mm = 0.3;
  o.resin.limit_mm = 50;  // nothing fills
  o.resin.spread_mm = 0.01;
  o.resin.least_depth_mm = o.resin.most_depth_mm = 6;
  o.build.broken_arris_mm = 0.3;
  return o;
}

// Blocks side by side are as near everywhere: their narrowest place is taken to be the middle.
std::vector<TrueSeam> in_the_middle(std::vector<TrueSeam> seams) {
  for (TrueSeam& s : seams) s.map = Vector2d::Zero();
  return seams;
}

Scene scene_of_blocks(const SceneOptions& o) {
  Scene scene = make_scene(o, two_blocks(3, 10, 0.3));
  scene.poured = pour_resin(scene.form, o, scene.pieces, in_the_middle(scene.seams));
  return scene;
}

Poured poured_blocks(const SceneOptions& o, double gap_mm, double bevel_deg = 10) {
  const Form form(o.form);
  const std::vector<BuiltPiece> pieces = two_blocks(gap_mm, bevel_deg, o.build.broken_arris_mm);
  return pour_resin(form, o, pieces, in_the_middle(true_seams(form, pieces, 3, 1)));
}

TEST(Poured, HollowBetweenSlopingWallsHasTheOpeningAndVolumeOfATrapezoid) {
  for (const double gap : {1.2, 2.0, 3.5}) {
    const SceneOptions o = over_blocks();
    const Poured p = poured_blocks(o, gap);
    ASSERT_EQ(p.voids.size(), 1u);
    const TrueVoid& v = p.voids[0];
    EXPECT_EQ(v.depth_mm, 6);
    EXPECT_NEAR(v.opening_mm2, gap * v.length_mm, 0.04 * gap * v.length_mm + o.resin.step_mm * gap) << gap;
    // Walls draw back below the arris by tan(bevel), on both sides; above it the corner is broken.
    const double below = v.depth_mm - o.build.broken_arris_mm;
    const double section = gap * v.depth_mm + std::tan(10 * std::numbers::pi / 180) * below * below;
    EXPECT_NEAR(1000 * v.volume_ml, section * v.length_mm, 0.06 * section * v.length_mm) << gap;
    EXPECT_NEAR(v.map.x(), 0, 0.15);
    EXPECT_EQ(p.filled[0], 0);
  }
}

TEST(Poured, SeamsWiderThanTheLimitFill) {
  SceneOptions o = over_blocks();
  o.resin.limit_mm = 2.9;
  o.resin.spread_mm = 1e-3;
  EXPECT_EQ(poured_blocks(o, 2.8).voids.size(), 1u);
  const Poured full = poured_blocks(o, 3.0);
  EXPECT_TRUE(full.voids.empty());
  EXPECT_EQ(full.filled[0], 1);
}

// Four blocks round a place 15 mm wide, 3 mm apart: resin fills the seams and runs off in the middle.
TEST(Poured, WherePiecesStandTooFarApartAllRoundIsAHollowToo) {
  SceneOptions o = over_blocks();
  o.resin.limit_mm = 0.1;
  const auto wheel = [&](double out_mm) {
    const double a = 14, b = 20 + out_mm;
    return std::vector<BuiltPiece>{
        block("A01", a, b, 37, 25, 60, 16, 10, 0.3), block("A02", -b, a, 25, 37, 60, 16, 10, 0.3),
        block("A03", -a, -b, 37, 25, 60, 16, 10, 0.3), block("A04", b, -a, 25, 37, 60, 16, 10, 0.3)};
  };
  const Form form(o.form);
  const auto poured = [&](const std::vector<BuiltPiece>& pieces) {
    return pour_resin(form, o, pieces, true_seams(form, pieces, 3, 1));
  };
  const Poured p = poured(wheel(0));
  ASSERT_EQ(p.voids.size(), 1u);
  // Farther than 4.5 mm from every block: 6 mm square.
  EXPECT_NEAR(p.voids[0].opening_mm2, 36, 6);
  EXPECT_LT(p.voids[0].map.norm(), 0.5);
  EXPECT_GT(p.voids[0].depth_mm, 15);
  const Poured narrower = poured(wheel(-2));  // 11 mm wide
  ASSERT_EQ(narrower.voids.size(), 1u);
  EXPECT_NEAR(narrower.voids[0].opening_mm2, 4, 2);
}

TEST(Poured, BubblesAreHalfEllipsoidsInStandingResin) {
  SceneOptions o = over_blocks();
  o.resin.limit_mm = 0.1;  // all fills
  o.resin.pits = 5;
  const Poured p = poured_blocks(o, 6);
  ASSERT_EQ(p.voids.size(), 5u);
  for (const TrueVoid& v : p.voids) {
    ASSERT_TRUE(v.bubble);
    // Against the drawn cells: what is missing under the level.
    double volume = 0, opening = 0;
    for (int row = 0; row < p.side; ++row) {
      for (int column = 0; column < p.side; ++column) {
        const ResinCell& c = p.cell(row, column);
        if (!c.hollow || (p.map_at(row, column) - v.map).norm() > v.length_mm / 2 + 0.3) continue;
        opening += p.step_mm * p.step_mm;
        volume += p.step_mm * p.step_mm * (c.flush_mm - c.top_mm) / 1000;
      }
    }
    const double stretched = 1.1;  // the map is that much smaller than the level at most, here
    EXPECT_GT(v.opening_mm2, 0.8 * opening);
    EXPECT_LT(v.opening_mm2, 1.2 * stretched * opening);
    EXPECT_NEAR(v.volume_ml, volume, 0.3 * volume);
  }
}

TEST(Poured, SunkResinClimbsTheWoodAndProudResinLiesOverTheRims) {
  SceneOptions o = over_blocks();
  o.resin.limit_mm = 0.1;
  const auto at = [&](double level_mm, double x) {
    o.resin.level_mm = level_mm;
    const Poured p = poured_blocks(o, 6);
    const int middle = p.side / 2;
    const ResinCell& c = p.cell(middle, middle + static_cast<int>(std::lround(x / p.step_mm)));
    return c.top_mm - c.flush_mm;
  };
  EXPECT_NEAR(at(-1, 0), -1 + std::exp(-3 / 0.9), 0.02);  // three millimetres from either wall
  EXPECT_GT(at(-1, 2.8), -0.3);
  EXPECT_NEAR(at(0.5, 0), 0.5, 1e-9);
  EXPECT_GT(at(0.5, 3.4), 0.1);   // over the rim
  EXPECT_LT(at(0.5, 4.4), -0.1);  // not so far in
  EXPECT_EQ(at(0, 0), 0);
}

// Light of a place seen from above.
float light_at(const cv::Mat& picture, const Shot& shot, const Vector3d& p) {
  const Vector2d at = shot.project(p);
  float sum = 0;
  for (int r = -1; r <= 1; ++r) {
    for (int c = -1; c <= 1; ++c) {
      const cv::Vec3f v = picture.at<cv::Vec3f>(static_cast<int>(std::lround(at.y())) + r,
                                                static_cast<int>(std::lround(at.x())) + c);
      sum += (v[0] + v[1] + v[2]) / 27;
    }
  }
  return sum;
}

TEST(Poured, AHollowIsDarkerThanResinAndGlossIsWhatBlackResinShows) {
  SceneOptions o = over_blocks();
  o.sampling.interior_samples = 8;
  o.sampling.light_step_mm = 1.5;
  for (const char* colour : {"black", "metallic"}) {
    o.resin.colour = colour;
    o.resin.gloss = 1;
    const Scene scene = scene_of_blocks(o);
    ASSERT_EQ(scene.poured->voids.size(), 1u);
    const TrueVoid& v = scene.poured->voids[0];
    const double along = v.map.y(), away = v.length_mm / 2 + 3;
    const Shot shot = shot_from_above(o.camera, 200);
    const cv::Mat picture = LitScene(scene).picture(shot);
    const float hollow = light_at(picture, shot, {0, along, 60});
    const float full = light_at(picture, shot, {0, along + (along > 0 ? -away : away), 60});
    EXPECT_LT(hollow, 0.75f * full) << colour;
    o.resin.gloss = 0;
    const Scene dull = scene_of_blocks(o);
    const cv::Mat matt = LitScene(dull).picture(shot);
    const float without = light_at(matt, shot, {0, along + (along > 0 ? -away : away), 60});
    EXPECT_LT(without, full) << colour;
    if (std::string(colour) == "black") {
      EXPECT_LT(without, 0.5f * full);
    }
  }
}

TEST(Poured, ResinsByName) {
  SceneOptions o;
  set_option(o, "resin.colour=amber");
  EXPECT_EQ(o.resin.colour, "amber");
  o = over_blocks();
  o.resin.colour = "tar";
  EXPECT_THROW(LitScene(make_scene(o, two_blocks(3))), core::InputError);
}

}  // namespace
}  // namespace interstice::renderer
