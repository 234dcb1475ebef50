// A small plan for tests: a dome of three rings of trapezoids, every piece of another width.
#pragma once

#include <cmath>
#include <numbers>
#include <vector>

#include "plan/plan.h"

namespace interstice::testing_plan {

inline geometry::Profile dome(double radius, int steps = 120) {
  std::vector<Eigen::Vector2d> rz;
  for (int i = 0; i <= steps; ++i) {
    const double c = std::numbers::pi / 2 * i / steps;
    rz.emplace_back(radius * std::sin(c), radius * std::cos(c));
  }
  rz.front().x() = 0;
  rz.back().y() = 0;
  return geometry::Profile(rz);
}

inline plan::Plan shell_plan(double radius = 100) {
  plan::Plan plan;
  plan.name = "three rings";
  plan.profile = dome(radius);
  plan.tile_thickness_mm = 12;
  plan.bevel_deg = 8;
  plan.planned_gap_mm = 3.5;
  const int counts[] = {11, 9, 6};
  for (int ring = 0; ring < 3; ++ring) {
    const double outer = plan.profile.length() - 2 - ring * 42, inner = outer - 36;
    double from = 0.3 * ring;
    for (int k = 0; k < counts[ring]; ++k) {
      // Widths wander, so that no turn but one fits.
      const double share = 1 + 0.25 * std::sin(2.4 * k + ring);
      const double to = from + 2 * std::numbers::pi / counts[ring] * share;
      plan::PlannedTile tile;
      tile.label = std::string(1, char('A' + ring)) + (k < 9 ? "0" : "") + std::to_string(k + 1);
      tile.ring = ring + 1;
      const double last = k + 1 == counts[ring] ? 0.3 * ring + 2 * std::numbers::pi : to;
      const auto at = [](double rho, double a) {
        return Eigen::Vector2d(rho * std::cos(a), rho * std::sin(a));
      };
      const auto gap = [&](double rho) { return 3.5 / (radius * std::sin(rho / radius)) / 2; };
      for (int i = 0; i <= 6; ++i)
        tile.outline.push_back(at(outer, from + gap(outer) + (last - from - 2 * gap(outer)) * i / 6));
      for (int i = 6; i >= 0; --i)
        tile.outline.push_back(at(inner, from + gap(inner) + (last - from - 2 * gap(inner)) * i / 6));
      plan.tiles.push_back(tile);
      from = to;
    }
  }
  return plan;
}

}  // namespace interstice::testing_plan
