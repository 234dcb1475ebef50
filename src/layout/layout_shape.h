// Second step of a layout: corners moved so that areas come together and no seam is short, no corner sharp.
#pragma once

#include "layout/layout_seeds.h"

namespace interstice::layout {

struct ShapedMesh {
  CornerMesh mesh;
  double cost = 0;         // comparable between layouts of one form and size
  std::size_t faults = 0;  // seams too short, or between faces at too different heights
};
// area_shares: each cell's area wanted against the mean, all 1 when empty.
ShapedMesh shaped(const geometry::Profile& form, const CornerMesh& mesh, const LayoutOptions& options,
                  const std::vector<double>& area_shares = {});

// The cells and seams of a mesh as lines on the map.
CellComplex cells_of(const geometry::Profile& form, const CornerMesh& mesh);

}  // namespace interstice::layout
