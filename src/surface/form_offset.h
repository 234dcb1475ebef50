// How far the form as it stands lies off its drawing, along its normals.
//
// Told by the measured heights: bare form lies at height 0 of the drawing where it is true, faces at their
// planned height; a hand-turned form is up to about a millimetre off. The offset is a smooth function of the
// distance from the pole (a quadratic, held towards 0 by a prior of that millimetre), fitted robustly. Glue
// under the pieces cannot be told from a form that is too large where no bare form shows: a usual film is
// allowed for.
#pragma once

#include <vector>

#include "plan/plan.h"
#include "surface/height_field.h"

namespace interstice::surface {

// One offset (mm, outward) a point of the plan's profile.
std::vector<double> form_offsets(const HeightField& field, const plan::Plan& plan);

// Height above the plan's form of every map cell inside a planned face, with the cell's tile; for comparing
// measured heights with planned ones.
struct FaceCell {
  int column, row;
  double planned_mm;
};
std::vector<FaceCell> face_cells(const plan::Plan& plan, geometry::TileIndex tile, const MapGrid& grid,
                                 double margin_mm);

}  // namespace interstice::surface
