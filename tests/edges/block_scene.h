// Plane scenes of blocks on which the best corrections are known exactly. For tests only.
#pragma once

#include <string>
#include <vector>

#include "rework/generated_shell.h"

namespace interstice::testing {

using Eigen::Vector2d;
using Eigen::Vector3d;

inline constexpr double kFar = 1e6;  // pieces lie so far from the axis that rings are straight

// Blocks with vertical walls on a flat form, at (along the ring, towards the pole); along the ring is +y
// there.
struct Scene {
  plan::Plan plan;
  seams::FitDocument fit;

  Scene() {
    plan.profile =
        geometry::Profile({{0, 50}, {kFar / 2, 50}, {kFar, 50}, {2 * kFar, 50}, {2 * kFar + 100, 0}});
    plan.tile_thickness_mm = 12;
    plan.bevel_deg = 0;
    fit.smallest_fill_mm = 3.0;
    fit.form_profile = plan.profile.points();
  }
  void add(const std::string& label, double along, double pole, double width, double height,
           plan::TileState state = plan::TileState::placed) {
    plan::PlannedTile tile;
    tile.label = label;
    const double x = kFar - pole, y = along;
    const geometry::Polygon corners{{x, y}, {x, y + width}, {x - height, y + width}, {x - height, y}};
    const Vector3d up = plan.profile.normal({kFar, 0});
    seams::FitTile measured;
    measured.label = label;
    measured.state = state;
    for (std::size_t i = 0; i < 4; ++i) {
      const Vector2d a = corners[i], b = corners[(i + 1) % 4];
      for (int k = 0; k < 40; ++k) {
        const Vector2d p = a + (b - a) * (k / 40.0);
        tile.outline.push_back(p);
        measured.arris.emplace_back(p.x(), p.y(), 62);
        measured.root.emplace_back(p.x(), p.y(), 50);
      }
    }
    measured.face = geometry::make_plane_frame({x - height / 2, y + width / 2, 62}, up, {0, 1, 0});
    measured.arris_sd_mm.assign(measured.arris.size(), 0.01);
    if (state != plan::TileState::placed)
      measured.arris.clear(), measured.root.clear(), measured.arris_sd_mm.clear();
    plan.tiles.push_back(tile);
    fit.tiles.push_back(measured);
  }
  // A row along the ring with the given gaps, pieces 40 wide and 40 high.
  void add_row(const std::vector<double>& gaps) {
    double along = 0;
    for (std::size_t i = 0; i <= gaps.size(); ++i) {
      add(std::string(1, static_cast<char>('A' + i)), along, 0, 40, 40);
      if (i < gaps.size()) along += 40 + gaps[i];
    }
  }
  void measure(double u95_mm = 0) { measure_seams(fit, u95_mm); }
};

}  // namespace interstice::testing
