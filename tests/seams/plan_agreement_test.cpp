// Shapes of measured pieces against the plan: own, another's, mirrored.
#include "seams/plan_agreement.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

#include "core/errors.h"
#include "plan/piece_model.h"

namespace interstice {
namespace {

using Eigen::Vector2d;

geometry::Polygon ellipse(double a, double b, double turn) {
  geometry::Polygon p;
  for (int k = 0; k < 200; ++k) {
    const double t = 2 * std::numbers::pi * k / 200;
    p.push_back(Eigen::Rotation2Dd(turn) * Vector2d(a * std::cos(t), b * std::sin(t)));
  }
  return p;
}

TEST(Shape, RadiiOfAnEllipse) {
  const std::vector<double> r = seams::radial_shape(ellipse(20, 10, 0));
  for (std::size_t k = 0; k < r.size(); ++k) {
    const double t = 2 * std::numbers::pi * double(k) / double(r.size());
    EXPECT_NEAR(r[k], 1 / std::hypot(std::cos(t) / 20, std::sin(t) / 10), 0.01);
  }
}

TEST(Shape, TurnAndGrowthDoNotCountDifferenceDoes) {
  const std::vector<double> a = seams::radial_shape(ellipse(20, 10, 0));
  EXPECT_LT(seams::shape_difference(a, seams::radial_shape(ellipse(20, 10, 0.2)), 0.3), 0.15);
  EXPECT_GT(seams::shape_difference(a, seams::radial_shape(ellipse(20, 10, 1.5)), 0.3), 2);
  const std::vector<double> circle = seams::radial_shape(ellipse(15, 15, 0));
  EXPECT_LT(seams::shape_difference(circle, seams::radial_shape(ellipse(17, 17, 0)), 0.3), 1e-3);
  EXPECT_GT(seams::shape_difference(a, circle, 3), 2);
}

// Four pieces of different shapes on a low form.
plan::Plan four() {
  plan::Plan plan;
  plan.profile = geometry::Profile({{0, 30}, {40, 29}, {80, 22}, {100, 0}});
  plan.tile_thickness_mm = 12;
  const double sides[4][2] = {{20, 10}, {14, 14}, {24, 12}, {18, 15}};
  for (int i = 0; i < 4; ++i) {
    plan::PlannedTile tile;
    tile.label = std::string("A0") + char('1' + i);
    for (Vector2d p : ellipse(sides[i][0], sides[i][1], 0.4 * i)) {
      if (p.x() > 0) p.x() *= 1.2;  // no mirror image of itself
      tile.outline.push_back(p + 50 * Vector2d(std::cos(1.57 * i), std::sin(1.57 * i)));
    }
    plan.tiles.push_back(tile);
  }
  return plan;
}

// A fit whose piece i has the planned shape of piece shape_of[i].
seams::FitDocument built(const plan::Plan& plan, const std::vector<std::size_t>& shape_of) {
  seams::FitDocument fit;
  for (std::size_t i = 0; i < shape_of.size(); ++i) {
    const plan::PieceFace own = plan::planned_face(plan, geometry::TileIndex(i)),
                          shape = plan::planned_face(plan, geometry::TileIndex(shape_of[i]));
    seams::FitTile tile;
    tile.label = plan.tiles[geometry::TileIndex(i)].label;
    tile.state = plan::TileState::placed;
    tile.face = own.frame;
    for (const Vector2d& p : shape.outline) tile.arris.push_back(own.frame.lift(p));
    fit.tiles.push_back(tile);
  }
  seams::FitSeam seam;
  seam.tiles = {"A01", "A02"};
  seam.verdict = seams::Verdict::clear;
  fit.seams.push_back(seam);
  return fit;
}

TEST(PlanAgreement, PiecesInTheirPlacesPassSilently) {
  const plan::Plan plan = four();
  seams::FitDocument fit = built(plan, {0, 1, 2, 3});
  EXPECT_TRUE(seams::check_against_plan(fit, plan).empty());
  EXPECT_EQ(fit.seams[0].verdict, seams::Verdict::clear);
  EXPECT_LT(seams::agreement_with_plan(fit, plan).median_own_mm, 1e-6);
}

TEST(PlanAgreement, APieceOfAnotherShapeIsNamedAndItsSeamsAreNotClear) {
  const plan::Plan plan = four();
  seams::FitDocument fit = built(plan, {1, 1, 2, 3});
  const auto warnings = seams::check_against_plan(fit, plan);
  ASSERT_EQ(warnings.size(), 1u);
  EXPECT_NE(warnings[0].find("A01 does not have its planned shape: it looks like A02"), std::string::npos)
      << warnings[0];
  EXPECT_EQ(fit.seams[0].verdict, seams::Verdict::doubtful);
}

TEST(PlanAgreement, AnotherPlanIsRefused) {
  const plan::Plan plan = four();
  seams::FitDocument fit = built(plan, {1, 2, 0, 0});
  EXPECT_THROW(seams::check_against_plan(fit, plan), core::MeasureError);
}

}  // namespace
}  // namespace interstice
