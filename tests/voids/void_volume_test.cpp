// The void's volume against closed forms and against throwing darts at the true pieces.
#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>

#include "voids/plan_pours.h"
#include "voids/true_fit.h"
#include "voids/void_grid.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
constexpr double kPi = std::numbers::pi;

Profile dome(double radius, double to_angle) {
  std::vector<Vector2d> rz;
  for (int k = 0; k <= 400; ++k) {
    const double a = to_angle * k / 400;
    rz.emplace_back(radius * std::sin(a), radius * (std::cos(a) - std::cos(to_angle)));
  }
  rz.front().x() = 0;
  return Profile(rz);
}

// A square piece of upright walls standing on the form, its middle over (x, y).
PieceSolid square(const Profile& form, double x, double y, double half_x, double half_y, double thickness) {
  PieceSolid p;
  const Vector3d middle(x, y, form.point({x, y}).z() + thickness);
  p.face = make_plane_frame(middle, Vector3d::UnitZ(), Vector3d::UnitX());
  const Polygon outline =
      resampled({{-half_x, -half_y}, {half_x, -half_y}, {half_x, half_y}, {-half_x, half_y}}, 0.5);
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
  ShellSolids shell;
  shell.form = dome(100, kPi / 2);
  shell.thickness_mm = 15;
  shell.pieces = {square(dome(1e6, 1e-3), 0, 0, 120, 120, 0.1)};  // only to make the grid reach the rim
  const VoidGrid grid(shell, {.step_mm = 1.0});
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
  ShellSolids shell;
  shell.form = dome(100, kPi / 2);
  shell.pieces = {square(shell.form, 0, 0, 100, 100, 5)};
  const VoidGrid grid(shell, {.step_mm = 1.0});
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

// Two squares on a nearly flat form, 4 mm apart: seam 4 x 40 x 14 and what the curve of the form adds; under
// each, the sagitta x^2 + y^2 over 2 R integrates to a^2 b^2 ... (a = b = 20: 4 a b (a^2 + b^2) / (6 R)).
TEST(VoidVolume, StraightSlotBetweenTwoSquares) {
  const double r = 2000;
  ShellSolids shell;
  shell.form = dome(r, 0.05);
  shell.thickness_mm = 14;
  shell.pieces = {square(shell.form, -22, 0, 20, 20, 14), square(shell.form, 22, 0, 20, 20, 14)};
  const VoidGrid grid(shell, {});
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
}

// ---- The same volume by darts, from the true pieces, with code of its own: sections of each piece as
// polygons, winding numbers, angles to outline points; nothing of VoidGrid or its tables.

bool inside_polygon(const std::vector<Vector2d>& polygon, const Vector2d& p) {
  double turned = 0;
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Vector2d a = polygon[i] - p, b = polygon[(i + 1) % polygon.size()] - p;
    turned += std::atan2(a.x() * b.y() - a.y() * b.x(), a.dot(b));
  }
  return std::abs(turned) > kPi;
}

class Darts {
 public:
  Darts(const testing::TrueShell& shell, double reach_mm)
      : shell_(shell), form_(shell.plan.profile), reach_(reach_mm) {
    for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
      if (const auto& piece = shell.pieces[TileIndex(i)]) {
        Piece p{*piece, Vector3d::Zero(), 0, {}, {}};
        for (const Vector3d& q : piece->arris) p.middle += q / static_cast<double>(piece->arris.size());
        for (const Vector3d& q : piece->arris) p.radius = std::max(p.radius, (q - p.middle).norm());
        for (const Vector3d& q : piece->arris) p.outline.push_back(piece->face.drop(q));
        for (const Vector3d& q : piece->arris) p.height.push_back(form_.locate(q).height);
        pieces_.push_back(std::move(p));
      }
    }
  }

  // Volume and its standard error, mm^3.
  std::pair<double, double> volume(int darts, unsigned seed) const {
    std::mt19937_64 random(seed);
    double rho_max = 0, h_max = 0;
    for (const Piece& p : pieces_) {
      for (std::size_t k = 0; k < p.height.size(); ++k) {
        rho_max = std::max(rho_max, form_.locate(p.solid.arris[k]).uv.norm());
        h_max = std::max(h_max, p.height[k]);
      }
    }
    std::uniform_real_distribution<double> unit(0, 1);
    double sum = 0, squares = 0;
    for (int k = 0; k < darts; ++k) {
      const double rho = rho_max * std::sqrt(unit(random)), theta = 2 * kPi * unit(random),
                   h = h_max * unit(random);
      const Vector2d uv(rho * std::cos(theta), rho * std::sin(theta));
      const double value = is_void(uv, h) ? stretch(uv, h) : 0;
      sum += value;
      squares += value * value;
    }
    const double all = kPi * rho_max * rho_max * h_max, n = darts;
    const double mean = sum / n;
    return {all * mean, all * std::sqrt((squares / n - mean * mean) / n)};
  }

 private:
  struct Piece {
    PieceSolid solid;
    Vector3d middle;
    double radius;
    std::vector<Vector2d> outline;
    std::vector<double> height;
  };

  double stretch(const Vector2d& uv, double h) const {  // volume of the map's unit box, by differences
    const double d = 1e-3;
    const Vector3d du = (form_.point(uv + Vector2d(d, 0), h) - form_.point(uv - Vector2d(d, 0), h)) / (2 * d);
    const Vector3d dv = (form_.point(uv + Vector2d(0, d), h) - form_.point(uv - Vector2d(0, d), h)) / (2 * d);
    return std::abs(du.cross(dv).dot(form_.normal(uv)));
  }

  // The piece's outline at a depth below its face, sliding from arris to root; the root's end is its
  // underside.
  std::vector<Vector2d> section(const Piece& p, double depth) const {
    std::vector<Vector2d> out;
    for (std::size_t k = 0; k < p.outline.size(); ++k) {
      const double whole = -p.solid.face.height(p.solid.root[k]);
      const double t = whole > 1e-6 ? std::min(depth, shell_.plan.tile_thickness_mm) / whole : 0;
      out.push_back(p.outline[k] + t * (p.solid.face.drop(p.solid.root[k]) - p.outline[k]));
    }
    return out;
  }

  bool is_void(const Vector2d& uv, double h) const {
    const Vector3d p = form_.point(uv, h), base = form_.point(uv), n = form_.normal(uv);
    double top = 0, weight = 0;
    bool covered = false, under = false;
    std::vector<double> angles;
    const Vector3d e1 = n.unitOrthogonal(), e2 = n.cross(e1);
    for (const Piece& piece : pieces_) {
      if ((p - piece.middle).norm() > piece.radius + 30) continue;
      const PlaneFrame& face = piece.solid.face;
      const double lean = n.dot(face.normal);
      if (lean < 0.2) continue;
      const double h_face = -face.height(base) / lean;
      const Vector2d on_face = face.drop(base + h_face * n);
      if (!covered && inside_polygon(piece.outline, on_face)) {
        covered = true;
        top = h_face, weight = 1;
      }
      double nearest = 1e9, height = 0;
      for (std::size_t k = 0; k < piece.outline.size(); ++k) {
        const Vector2d a = piece.outline[k], d = piece.outline[(k + 1) % piece.outline.size()] - a;
        const double t = std::clamp((on_face - a).dot(d) / d.squaredNorm(), 0.0, 1.0);
        const double distance = (a + t * d - on_face).norm();
        if (distance < nearest) {
          nearest = distance;
          height = (1 - t) * piece.height[k] + t * piece.height[(k + 1) % piece.height.size()];
        }
      }
      if (!covered && nearest < 9) top += height / nearest, weight += 1 / nearest;
      const double depth = std::max(0.0, -face.height(p));
      const std::vector<Vector2d> wood = section(piece, depth);
      if (inside_polygon(wood, face.drop(p))) {
        if (depth <= shell_.plan.tile_thickness_mm) return false;
        under = true;
      }
      const double reach = reach_ + 2 * std::tan(shell_.plan.bevel_deg * kPi / 180) * depth + 1;
      for (const Vector2d& q : wood) {
        const Vector3d to = face.lift(q) - depth * face.normal - p;
        const Vector2d flat(to.dot(e1), to.dot(e2));
        if (flat.norm() < reach) angles.push_back(std::atan2(flat.y(), flat.x()));
      }
    }
    if (under) return true;
    if (weight == 0 || h > top / weight || angles.size() < 2) return false;
    std::sort(angles.begin(), angles.end());
    double gap = angles.front() + 2 * kPi - angles.back();
    for (std::size_t k = 1; k < angles.size(); ++k) gap = std::max(gap, angles[k] - angles[k - 1]);
    return gap < kPi;
  }

  const testing::TrueShell& shell_;
  const Profile& form_;
  double reach_;
  std::vector<Piece> pieces_;
};

TEST(VoidVolume, PloverWithinThreePercentOfDartsAtTheTruePieces) {
  const auto folder = testing::scan_folder("plover");
  if (!folder) GTEST_SKIP() << "scan plover is not here";
  const testing::TrueShell shell = testing::read_true_shell(*folder);
  const FitDocument fit = testing::true_fit(shell);
  const PourDocument pour = plan_pours(fit, shell.plan, std::nullopt, {});
  const auto [volume, error] = Darts(shell, 8.0).volume(100000, 42);
  EXPECT_LT(error, 0.01 * volume);
  EXPECT_NEAR(pour.void_volume_ml, volume / 1000, 0.03 * volume / 1000);
  RecordProperty("program_ml", std::to_string(pour.void_volume_ml));
  RecordProperty("darts_ml", std::to_string(volume / 1000));
  std::printf("plover: %.1f ml; darts %.1f +- %.1f ml\n", pour.void_volume_ml, volume / 1000, error / 1000);
}

}  // namespace
}  // namespace interstice
