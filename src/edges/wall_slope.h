// How steep the walls of the pieces are: the bevel of every side and along it, measured where photos show its foot.
//
// Model: stretch i (6 mm) of side k of piece j has the bevel b = plan + piece_j + side_jk + waver_jki, normal deviates
// whose sizes are learnt from the bowl itself: saw tables are set once for many cuts, so that the sides of a piece are
// alike and one side seen tells of the others, but a piece held by hand rocks along the blade. The foot is seen at
// depth + d (edges/wall_foot.h), d one value a stretch; its mean over the bowl and its spread are learnt too. A reading is right or, two times in five, shows something
// else (a line on the form, glue, a shadow): then it says nothing. All densities are held on grids and
// multiplied, so that two places a foot may be seen at stay two. Degrees in the bevel's name, else radians;
// lengths mm.
#pragma once

#include <numbers>
#include <vector>

#include "edges/wall_foot.h"

namespace interstice::edges {

// Beforehand, of all three together. A saw table set by eye and a piece held by hand keep a bevel within a degree or two (common practice, no
// source).
constexpr double kPlannedBevelSd_deg = 1.5;
constexpr double kPlannedBevelSd_rad = kPlannedBevelSd_deg * std::numbers::pi / 180;
// Of the depth at which a foot is seen, before the bowl tells: form and stock are known to some tenths, and
// shade hides as much (common practice, no source).
constexpr double kFootDepthSd_mm = 1.0;

struct WallSlope {
  double bevel_deg = 0;
  double sd_deg = kPlannedBevelSd_deg;
  // Photos tell it at least twice as well as the plan: by its own foot, or by the piece's other walls.
  bool measured = false;
};

// A side's, on the whole, and below each of its points, linear between the stretches' middles.
struct SideSlope : WallSlope {
  std::vector<WallSlope> at;
};

// Of every side, in the same order. `planned_deg`: of all walls.
geometry::IndexedVector<geometry::TileIndex, std::vector<SideSlope>> wall_slopes(
    const geometry::IndexedVector<geometry::TileIndex, std::vector<WallSide>>& sides, double planned_deg);

}  // namespace interstice::edges
