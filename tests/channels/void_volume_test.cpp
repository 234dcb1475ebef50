// The void's volume against closed forms and against throwing darts at the true pieces.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

#include "channels/true_fit.h"
#include "channels/void_darts.h"
#include "channels/void_grid.h"
#include "pour/plan_pours.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
constexpr double kPi = std::numbers::pi;

geometry::Profile dome(double radius, double to_angle) {
  std::vector<Vector2d> rz;
  for (int k = 0; k <= 400; ++k) {
    const double a = to_angle * k / 400;
    rz.emplace_back(radius * std::sin(a), radius * (std::cos(a) - std::cos(to_angle)));
  }
  rz.front().x() = 0;
  return geometry::Profile(rz);
}

// A square piece of upright walls standing on the form, its middle over (x, y).
solid::PieceSolid square(const geometry::Profile& form, double x, double y, double half_x, double half_y,
                         double thickness) {
  solid::PieceSolid p;
  const Vector3d middle(x, y, form.point({x, y}).z() + thickness);
  p.face = geometry::make_plane_frame(middle, Vector3d::UnitZ(), Vector3d::UnitX());
  const geometry::Polygon outline =
      geometry::resampled({{-half_x, -half_y}, {half_x, -half_y}, {half_x, half_y}, {-half_x, half_y}}, 0.5);
  for (const Vector2d& q : outline) {
    p.arris.push_back(p.face.lift(q));
    p.root.push_back(p.arris.back() - thickness * Vector3d::UnitZ());
  }
  return p;
}

// Hemispherical shell from radius 100 to 115: 2 pi / 3 (115^3 - 100^3) = 1 090 918 mm^3; groove 3 x 15 on a
// great circle at mean radius 107.5: 2 pi 107.5 x 45 = 30 394.9 mm^3, half of it over the dome (Pappus: area
// times the path of its centroid). Closed forms, recomputed.
TEST(VoidVolume, BoxesFillAHemisphericalShell) {
  channels::ShellSolids shell;
  shell.form = dome(100, kPi / 2);
  shell.thickness_mm = 15;
  shell.pieces = {square(dome(1e6, 1e-3), 0, 0, 120, 120, 0.1)};  // only to make the grid reach the rim
  const channels::VoidGrid grid(shell, {.step_mm = 1.0});
  double volume = 0, groove = 0;
  for (std::size_t j = 0; j < grid.side(); ++j) {
    for (std::size_t i = 0; i < grid.side(); ++i) {
      const double inside =
          std::clamp(0.5 + (50 * kPi - grid.map_at(i, j).norm()) / grid.step_mm(), 0.0, 1.0);
      if (inside <= 0) continue;
      for (std::size_t k = 0; k < 15; ++k) {
        const double box = inside * grid.box_volume_mm3(i, j, k);
        volume += box;
        const Vector2d s = grid.scale(grid.map_at(i, j).norm(), static_cast<double>(k) + 0.5);
        const double y = std::abs(grid.box_centre(i, j, k).y());
        groove += box * std::clamp(0.5 + (1.5 - y) / (grid.step_mm() * s.x()), 0.0, 1.0);
      }
    }
  }
  EXPECT_NEAR(volume / 1090918.0, 1, 0.002);
  EXPECT_NEAR(groove / (30394.9 / 2), 1, 0.01);
}

// Spherical cap R 100, h 40: area 2 pi R h = 25 132.74 mm^2.
TEST(VoidVolume, MapScaleGivesTheAreaOfACap) {
  channels::ShellSolids shell;
  shell.form = dome(100, kPi / 2);
  shell.pieces = {square(shell.form, 0, 0, 100, 100, 5)};
  const channels::VoidGrid grid(shell, {.step_mm = 1.0});
  const double rho = 100 * std::acos(0.6);
  double area = 0;
  for (std::size_t j = 0; j < grid.side(); ++j) {
    for (std::size_t i = 0; i < grid.side(); ++i) {
      const Vector2d s = grid.scale(grid.map_at(i, j).norm(), 0);
      area += s.x() * s.y() * std::clamp(0.5 + (rho - grid.map_at(i, j).norm()) / grid.step_mm(), 0.0, 1.0);
    }
  }
  EXPECT_NEAR(area / 25132.74, 1, 0.001);
}

// What lies under one of the squares below more when its face rises.
double raised_by(const geometry::Profile& form, double face, double above) {
  double sum = 0;
  for (int i = 0; i < 80; ++i) {
    for (int j = 0; j < 80; ++j) {
      const double form_z = form.point(Vector2d(22 - 20 + 0.25 + 0.5 * i, -20 + 0.25 + 0.5 * j)).z();
      sum += 0.25 * (std::max(0.0, face + above - 14 - form_z) - std::max(0.0, face - 14 - form_z));
    }
  }
  return sum;
}

// Two squares on a nearly flat form, 4 mm apart: seam 4 x 40 x 14 and what the curve of the form adds; under
// each, the sagitta x^2 + y^2 over 2 R integrates to a^2 b^2 ... (a = b = 20: 4 a b (a^2 + b^2) / (6 R)).
TEST(VoidVolume, StraightSlotBetweenTwoSquares) {
  const double r = 2000;
  channels::ShellSolids shell;
  shell.form = dome(r, 0.05);
  shell.thickness_mm = 14;
  shell.pieces = {square(shell.form, -22, 0, 20, 20, 14), square(shell.form, 22, 0, 20, 20, 14)};
  const channels::VoidGrid grid(shell, {});
  // Mean height of the tape over the form in the slot: the faces' height less the form's there.
  const double face = shell.form.point({22, 0}).z() + 14;
  double mean = 0;
  for (int k = 0; k < 400; ++k) mean += (face - shell.form.point({0, -20 + 0.1 * k}).z()) / 400;
  EXPECT_NEAR(grid.seam_volume_mm3(), 4 * 40 * mean, 0.01 * 4 * 40 * mean);
  double under = 0;  // the underside is level with the form at the piece's middle
  for (int i = 0; i < 80; ++i) {
    for (int j = 0; j < 80; ++j) {
      const Vector2d uv(22 - 20 + 0.25 + 0.5 * i, -20 + 0.25 + 0.5 * j);
      under += std::max(0.0, face - 14 - shell.form.point(uv).z()) * 0.25;
    }
  }
  EXPECT_NEAR(grid.under_volume_mm3(), 2 * under, 0.03 * 2 * under + 1);

  // Faces 0.4 mm over their broken arrises: the tape lies higher and so do the undersides.
  shell.face_above_mm = {0.4, 0.4};
  const channels::VoidGrid raised(shell, {});
  EXPECT_NEAR(raised.seam_volume_mm3(), 4 * 40 * (mean + 0.4), 0.01 * 4 * 40 * mean);
  EXPECT_NEAR(raised.under_volume_mm3() - grid.under_volume_mm3(), 2 * raised_by(shell.form, face, 0.4),
              0.03 * 2 * 1600 * 0.4);
}

// One square of upright walls 3 mm from the rim of a nearly flat form: the rim's room is a wedge under tape straight
// from the lower arris to the rim. At each place along the edge its section is a triangle: half the height of the face
// over the form there times what is left to the rim along the meridian.
TEST(VoidVolume, WedgeBetweenTheLowestPieceAndTheRim) {
  const double r = 2000, rim = r * 0.05;
  channels::ShellSolids shell;
  shell.form = dome(r, 0.05);
  shell.thickness_mm = 14;
  shell.pieces = {square(shell.form, rim - 3 - 20, 0, 20, 20, 14)};
  const double face = shell.form.point({rim - 23, 0}).z() + 14;
  double expected = 0;
  for (int k = 0; k < 400; ++k) {
    const Vector2d edge(rim - 3, -20 + 0.1 * (k + 0.5));  // map and plane differ by 0.04 % here
    expected += 0.1 * (face - shell.form.point(edge).z()) / 2 * (rim - edge.norm());
  }
  ASSERT_GT(expected, 600);
  const channels::VoidGrid grid(shell, {.wall_lean = 0});
  EXPECT_NEAR(grid.rim_volume_mm3(), expected, 0.08 * expected);  // and a little past its two corners

  // Farther from the rim than a seam is wide: that is an open side, not the rim.
  shell.pieces = {square(shell.form, rim - 12 - 20, 0, 20, 20, 14)};
  EXPECT_EQ(channels::VoidGrid(shell, {.wall_lean = 0}).rim_volume_mm3(), 0);
}

// True pieces of a scan, by the program's grid and by darts that share no code with it: between the pieces, and
// between the lowest ring and the rim. With flat backs, and with backs shaped to the form.
TEST(VoidVolume, PloverWithinThreePercentOfDartsAtTheTruePieces) {
  const auto folder = testing::scan_folder("plover");
  if (!folder) GTEST_SKIP() << "scan plover is not here";
  testing::TrueShell shell = testing::read_true_shell(*folder);
  const double broken = testing::broken_arris_mm(shell);
  seams::FitDocument fit = testing::true_fit(shell);
  for (const auto& [above, back] :
       {std::pair{0.0, plan::Back::flat}, std::pair{broken, plan::Back::fitted}}) {
    shell.plan.back = back;
    for (seams::FitTile& tile : fit.tiles) tile.face_above_arris_mm = above;
    const pour::PourDocument pour = pour::plan_pours(fit, shell.plan, std::nullopt, {});
    const auto darts = testing::Darts(shell, 8.0, above).volumes(200000, 42);
    const double between = darts.between.mm3 / 1000, rim = darts.rim.mm3 / 1000;
    EXPECT_LT(darts.between.error_mm3, 0.01 * darts.between.mm3);
    EXPECT_NEAR(pour.void_volume_ml, between + rim, 0.03 * (between + rim))
        << "faces " << above << " mm above";
    EXPECT_NEAR(pour.rim_ml, rim, 3 * darts.rim.error_mm3 / 1000 + 0.05 * rim);
    std::printf(
        "plover, %s backs, faces %.2f mm above the outlines: %.1f ml, of it %.1f at the rim; darts %.1f +- "
        "%.1f and %.1f +- %.1f ml\n",
        plan::name_of(back), above, pour.void_volume_ml, pour.rim_ml, between, darts.between.error_mm3 / 1000,
        rim, darts.rim.error_mm3 / 1000);
  }
}

}  // namespace
}  // namespace interstice
