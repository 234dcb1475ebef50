// A shell of any size, for tests and benchmarks: brick-like courses of near-square pieces on a dome, set out
// of place at random.
#pragma once

#include <algorithm>

#include "rework/correction_shell.h"
#include "rework/measured_shell.h"

namespace interstice::testing {

struct GeneratedShell {
  plan::Plan plan;
  seams::FitDocument fit;
};

// A footprint between two parallels and two meridians of a dome, corners rounded, as long as wide.
inline geometry::Polygon course_footprint(const geometry::Profile& form, double rho_low, double rho_high,
                                          double theta, double half_mm, double radius_mm) {
  const double middle = (rho_low + rho_high) / 2, half_high = (rho_high - rho_low) / 2;
  const double r = form.at(middle).rz.x();
  geometry::Polygon out;
  const double corner_x = half_mm - radius_mm, corner_y = half_high - radius_mm;
  for (int quarter = 0; quarter < 4; ++quarter) {
    const double sx = quarter == 0 || quarter == 3 ? 1 : -1, sy = quarter < 2 ? 1 : -1;
    for (int k = 0; k <= 4; ++k) {
      const double a = (quarter + k / 4.0) * std::numbers::pi / 2;
      const double x = sx * corner_x + radius_mm * std::cos(a), y = sy * corner_y + radius_mm * std::sin(a);
      // x along the ring, y towards the pole, both in mm on the form; courses narrow towards the pole.
      const double rho = middle - y, angle = theta + x / r;
      out.emplace_back(rho * std::cos(angle), rho * std::sin(angle));
    }
  }
  return out;
}

inline GeneratedShell generated_shell(std::size_t pieces, double u95_mm, unsigned seed) {
  constexpr double kSide = 38, kGap = 4.2;
  GeneratedShell out;
  // A half sphere with a little more room than the pieces need.
  const double radius =
      std::max(70.0, std::sqrt(static_cast<double>(pieces) * kSide * kSide / (2 * std::numbers::pi)) * 1.12);
  std::vector<Eigen::Vector2d> meridian;
  for (int i = 0; i <= 180; ++i) {
    const double a = i * std::numbers::pi / 360;
    meridian.emplace_back(radius * std::sin(a), radius * std::cos(a));
  }
  out.plan.name = "generated";
  out.plan.profile = geometry::Profile(meridian);
  out.plan.tile_thickness_mm = 13;
  out.plan.bevel_deg = 8;
  out.plan.planned_gap_mm = kGap;
  const double growth = 13 * std::tan(8 * std::numbers::pi / 180);
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  for (int ring = 1; out.plan.tiles.size() < pieces; ++ring) {
    const double rho_low = out.plan.profile.length() - ring * kSide, rho_high = rho_low + kSide;
    if (rho_low < kSide) break;
    const double r_top = out.plan.profile.at((rho_low + rho_high) / 2).rz.x();
    const auto count = static_cast<int>(2 * std::numbers::pi * r_top / kSide);
    const double share = 2 * std::numbers::pi * r_top / count;
    for (int k = 0; k < count && out.plan.tiles.size() < pieces; ++k) {
      plan::PlannedTile tile;
      tile.label = std::to_string(ring) + "." + std::to_string(k + 1);
      tile.ring = ring;
      // Faces stand higher than footprints: the share is wider there by (R + 13) / R.
      const double stretch = (radius + 13) / radius;
      const double half = (share * stretch - kGap) / 2 - growth, high = (kSide * stretch - kGap) / 2 - growth;
      const double middle = (rho_low + rho_high) / 2;
      tile.outline = course_footprint(out.plan.profile, middle - high, middle + high,
                                      (k + 0.5 * (ring % 2)) * 2 * std::numbers::pi / count, half, 3.0);
      out.plan.tiles.push_back(tile);
    }
  }
  out.fit.name = "generated";
  out.fit.form_profile = meridian;
  for (std::size_t i = 0; i < out.plan.tiles.size(); ++i) {
    const plan::PlannedTile& tile = out.plan.tiles[geometry::TileIndex(i)];
    solid::PieceSolid solid = rework::planned_solid(out.plan, geometry::TileIndex(i));
    const rework::Move out_of_place{0.7 * normal(random), 0.7 * normal(random), 0.7 * normal(random)};
    solid = rework::moved_piece(
        solid, rework::motion_of(out_of_place, out.plan.profile,
                                 rework::face_centroid(solid.face, solid.arris), solid.face.normal));
    out.fit.tiles.push_back(
        measured_tile(tile.label, tile.ring, solid, u95_mm / 2 / std::numbers::sqrt2, random));
  }
  measure_seams(out.fit, u95_mm);
  return out;
}

}  // namespace interstice::testing
