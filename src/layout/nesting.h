// Outlines laid out on sheets without touching. Sheet coordinates: x right, y down, mm.
#pragma once

#include <vector>

#include "geometry/polygon.h"

namespace interstice::layout {

struct NestingOptions {
  double width_mm = 190, height_mm = 240;  // of the usable part of a sheet
  double spacing_mm = 4;
  bool keep_grain = false;  // only half turns: the grain runs along the sheet's width
};

struct Placement {
  std::size_t sheet = 0;
  double turn_deg = 0;  // clockwise on the sheet (y down), about the outline's origin
  Eigen::Vector2d shift{0, 0};

  Eigen::Vector2d apply(const Eigen::Vector2d& p) const;
};

// Largest first, each at the highest free place over all sheets and turns, on a grid of 1 mm. The outlines
// are given in sheet sense (y down). Throws InputError naming the index when one is larger than a sheet; the
// caller knows its label.
struct Nesting {
  std::vector<Placement> placements;
  std::size_t sheets = 0;
};
Nesting nest(const std::vector<geometry::Polygon>& outlines, const NestingOptions& options);

}  // namespace interstice::layout
