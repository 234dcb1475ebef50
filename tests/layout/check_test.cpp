// `plan check`: what it finds, against figures worked by hand or by the tests' own geometry.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <numbers>

#include "layout/forms.h"
#include "layout/independent_faces.h"
#include "layout/layout.h"
#include "layout/plan_check.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Kind = layout::CheckFinding::Kind;
constexpr double kPi = std::numbers::pi;

constexpr double kRadius_mm = 400;  // of a sphere so large that pieces of 50 mm lie nearly flat

// Rectangles on the sphere, 50 degrees from the pole, their middles this far along the ring.
struct Patch {
  double along_mm, width_mm, height_mm;
};

plan::Plan patches(const std::vector<Patch>& wanted, double thickness = 14) {
  plan::Plan plan;
  plan.profile = testing_forms::hemisphere(kRadius_mm);
  plan.tile_thickness_mm = thickness;
  plan.bevel_deg = 0;
  plan.planned_gap_mm = 4;
  const double polar = 50 * kPi / 180;
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    const double theta = wanted[i].along_mm / (kRadius_mm * std::sin(polar));
    const Vector3d up(std::sin(polar) * std::cos(theta), std::sin(polar) * std::sin(theta), std::cos(polar));
    const Vector3d right(-std::sin(theta), std::cos(theta), 0), pole = up.cross(right);
    geometry::Polygon outline;
    const auto add = [&](double x, double y) {
      const Vector3d p = kRadius_mm * up + x * right + y * pole;
      outline.push_back(plan.profile.locate(p).uv);
    };
    const double w = wanted[i].width_mm / 2, h = wanted[i].height_mm / 2;
    constexpr int kSteps = 40;
    for (int k = 0; k < kSteps; ++k) add(-w + 2 * w * k / kSteps, -h);
    for (int k = 0; k < kSteps; ++k) add(w, -h + 2 * h * k / kSteps);
    for (int k = 0; k < kSteps; ++k) add(w - 2 * w * k / kSteps, h);
    for (int k = 0; k < kSteps; ++k) add(-w, h - 2 * h * k / kSteps);
    if (geometry::signed_area(outline) < 0) std::reverse(outline.begin(), outline.end());
    plan.tiles.push_back({"A0" + std::to_string(i + 1), 1, outline});
  }
  return plan;
}

layout::PlanCheck checked(const plan::Plan& plan, const layout::CheckLimits& limits = {}) {
  const auto bodies = solid::planned_bodies(plan);
  return layout::check_plan(plan, bodies, solid::piece_geometries(plan, bodies), limits);
}

std::vector<std::string> texts(const layout::PlanCheck& check, Kind kind) {
  std::vector<std::string> found;
  for (const layout::CheckFinding& f : check.findings) {
    if (f.kind == kind) found.push_back(f.text);
  }
  return found;
}

// Outlines are drawn at steps of half a millimetre, which cuts the corners of these rectangles by a few
// hundredths.
TEST(PlanCheck, AGapUnderTheSmallestFillIsNamedWithItsWidth) {
  // Walls square to faces that lean apart by 52.6 mm on the sphere: the mouth is wider than the roots' gap.
  const plan::Plan plan = patches({{0, 50, 50}, {52.6, 50, 50}, {107, 50, 50}});
  const auto mouths = independent::mouths_of(independent::solids_of(plan));
  ASSERT_EQ(mouths.size(), 2u);
  ASSERT_LT(mouths[0].wall_nearest_mm, 3.0);
  const layout::PlanCheck check = checked(plan);
  ASSERT_EQ(check.seams.size(), 2u);
  EXPECT_NEAR(check.seams[0].mouth_mm, mouths[0].narrowest_mm, 0.05);
  EXPECT_NEAR(check.seams[0].throat_mm, mouths[0].wall_nearest_mm, 0.05);
  EXPECT_NEAR(check.seams[1].mouth_mm, mouths[1].narrowest_mm, 0.05);
  EXPECT_NEAR(check.narrowest_mouth_mm, mouths[0].narrowest_mm, 0.05);
  plan::Plan strict = plan;
  strict.smallest_fill_mm = mouths[0].narrowest_mm + 0.1;
  const auto narrow = texts(checked(strict), Kind::narrow_mouth);
  ASSERT_EQ(narrow.size(), 1u);
  char width[16];
  std::snprintf(width, sizeof width, "%.2f mm wide", check.narrowest_mouth_mm);
  EXPECT_NE(narrow[0].find("A01 and A02"), std::string::npos) << narrow[0];
  EXPECT_NE(narrow[0].find(width), std::string::npos) << narrow[0];
  strict.smallest_fill_mm =
      (mouths[0].narrowest_mm + mouths[0].wall_nearest_mm) / 2;  // only the throat is under
  EXPECT_EQ(texts(checked(strict), Kind::narrow_mouth).size(), 0u);
  EXPECT_EQ(texts(checked(strict), Kind::narrow_throat).size(), 1u);
  strict.smallest_fill_mm = mouths[0].wall_nearest_mm - 0.1;
  EXPECT_EQ(texts(checked(strict), Kind::narrow_throat).size(), 0u);
}

TEST(PlanCheck, PiecesThatOverlapAreNamed) {
  const auto found = texts(checked(patches({{0, 50, 50}, {48.5, 50, 50}})), Kind::overlap);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_NE(found[0].find("A01 and A02 overlap"), std::string::npos) << found[0];
  EXPECT_TRUE(texts(checked(patches({{0, 50, 50}, {54, 50, 50}})), Kind::overlap).empty());
}

TEST(PlanCheck, APieceTooSmallToHoldIsNamedWithItsSize) {
  const plan::Plan plan = patches({{0, 13, 60}, {60, 50, 50}});
  const auto found = texts(checked(plan), Kind::small_piece);
  ASSERT_EQ(found.size(), 1u);
  // The largest circle in a strip is as wide as the strip.
  EXPECT_NE(found[0].find("A01 is only 13.0 mm across (limit 15.0 mm)"), std::string::npos) << found[0];
  layout::CheckLimits limits;
  limits.smallest_piece_mm = 12.5;
  EXPECT_TRUE(texts(checked(plan, limits), Kind::small_piece).empty());
}

// The edge of a flat back that touches a sphere of radius R at its middle stands off by hypot(R, a) - R, a
// being the half diagonal of a square piece: the sagitta a^2 / 2R (any handbook of optics or surveying).
TEST(PlanCheck, ARockingPieceIsNamedWithItsSagitta) {
  const double side = 90, drawn = side / std::sqrt(2.0);
  const double a = kRadius_mm * std::sin(std::atan(drawn / kRadius_mm));  // brought down to the sphere
  const double gap = std::hypot(kRadius_mm, a) - kRadius_mm;
  EXPECT_NEAR(gap, a * a / (2 * kRadius_mm), 0.04);
  const plan::Plan plan = patches({{0, side, side}});
  layout::CheckLimits limits;
  limits.largest_rocking_mm = gap - 0.1;
  const auto found = texts(checked(plan, limits), Kind::rocking);
  ASSERT_EQ(found.size(), 1u);
  char text[16];
  std::snprintf(text, sizeof text, "%.1f mm off", gap);
  EXPECT_NE(found[0].find(text), std::string::npos) << found[0] << ", by hand " << gap;
  limits.largest_rocking_mm = gap + 0.1;
  EXPECT_TRUE(texts(checked(plan, limits), Kind::rocking).empty());
}

TEST(PlanCheck, BoardsAreCountedByHand) {
  // Faces of 50 x 50 mm on a board 120 mm wide, 2 mm of kerf and 4 mm to spare between: two a row. The
  // pieces' arris lies on the sphere's tangent plane at 414 mm, walls square: as large as the root.
  const plan::Plan plan = patches({{0, 50, 50}, {60, 50, 50}, {120, 50, 50}, {180, 50, 50}});
  layout::CheckLimits limits;
  limits.board_width_mm = 120, limits.board_length_mm = 400;
  const layout::PlanCheck check = checked(plan, limits);
  EXPECT_EQ(check.boards, 1u);
  EXPECT_NEAR(check.piece_area_m2, 4 * 0.0025, 1e-4);
  EXPECT_NEAR(check.board_area_m2, 0.120 * (2 * 0.050 + 0.006), 0.120 * 0.007);
  EXPECT_NEAR(check.waste_share, 1 - check.piece_area_m2 / check.board_area_m2, 1e-9);
  // 144 cubic inches of 25.4 mm: 2.359737216 litres (NIST Special Publication 811, appendix B.9, board foot:
  // 2.359 737 E-03 cubic metres; from memory).
  EXPECT_NEAR(check.board_feet, check.board_area_m2 * 14 / 2.359737216, 1e-9);
  limits.board_length_mm = 60;  // one row a board
  EXPECT_EQ(checked(plan, limits).boards, 2u);
}

// Pappus: the shell between the form and the form raised by t, less the pieces as frusta (Heron:
// t / 3 (A + B + sqrt(A B))), leaves the resin. Beds under flat backs and the caps by which the raised form
// bulges over flat faces have one curvature: they cancel but for the larger radius outside.
TEST(PlanCheck, SeamVolumeIsTheShellLessThePieces) {
  layout::LayoutOptions options;
  options.piece_size_mm = 40;
  options.irregularity = 0.2;
  const plan::Plan plan = layout::make_layout(testing_forms::hemisphere(110), options).plan;
  const double t = plan.tile_thickness_mm;
  const double shell = 2 * kPi / 3 * (std::pow(110 + t, 3) - std::pow(110, 3));
  double pieces = 0;
  for (const auto& s : independent::solids_of(plan)) {
    const double back = independent::area_of(s.root), face = independent::area_of(s.arris);
    pieces += t / 3 * (back + face + std::sqrt(back * face));
  }
  const layout::PlanCheck check = checked(plan);
  EXPECT_NEAR(check.seam_volume_ml, (shell - pieces) / 1000, 0.04 * shell / 1000);
  EXPECT_GT(check.seam_volume_ml, 0.05 * shell / 1000);
  // Nothing else to find but pieces that sit on glue.
  for (const layout::CheckFinding& f : check.findings) EXPECT_EQ(f.kind, Kind::rocking) << f.text;
}

// A flat piece turned round, by hand (the sagitta of a chord of half length x in a circle of radius r is r - sqrt(r^2 -
// x^2); any handbook of the trades): squares of 50 mm on a form of 400 mm, drawn along the form's normals, so that a
// corner's foot lies x = 400 sin(atan(35.355 / 400)) = 35.218 mm from the middle. Its back stands off the form by
// sqrt(400^2 + 35.218^2) - 400 = 1.547 mm there, the sagitta of its own circle; a face of 14 mm stock is lowest at its
// middle and 1.495 mm higher at the corners: sqrt(414^2 + 35.218^2) - 414. Of 14 mm, 12.453 are left.
TEST(PlanCheck, SaysWhatTurningTheShellRoundLeavesOfTheStock) {
  plan::Plan plan = patches({{0, 50, 50}, {54, 50, 50}, {108, 40, 40}});
  const layout::PlanCheck check = checked(plan);
  EXPECT_NEAR(check.turned.inside_loss_mm, 1.547, 0.005);
  EXPECT_NEAR(check.turned.outside_loss_mm, 1.495, 0.01);
  EXPECT_NEAR(check.turned.wall_mm, 12.453, 0.01);
  EXPECT_NE(check.turned.most_inside, geometry::TileIndex(2));  // the smaller one loses less
  EXPECT_TRUE(texts(check, Kind::thin_wall).empty());

  // 13 mm of finished wall want 0.547 mm more.
  plan.finished_wall = plan::FinishedWall{0.5, 13.5};
  const auto thin = texts(checked(plan), Kind::thin_wall);
  ASSERT_EQ(thin.size(), 1u);
  EXPECT_NE(thin[0].find("12.5 mm of the 14.0 mm stock"), std::string::npos) << thin[0];
  EXPECT_NE(thin[0].find("stock of 14.6 mm"), std::string::npos) << thin[0];

  // Backs shaped to the form lose nothing inside.
  plan.back = plan::Back::fitted;
  const layout::PlanCheck fitted = checked(plan);
  EXPECT_EQ(fitted.turned.inside_loss_mm, 0);
  EXPECT_NEAR(fitted.turned.wall_mm, 14, 0.01);
  EXPECT_TRUE(texts(fitted, Kind::thin_wall).empty());
}

}  // namespace
}  // namespace interstice
