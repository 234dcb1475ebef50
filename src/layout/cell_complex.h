// The form divided into cells by centre lines, one cell a piece; the gaps are taken out of it later.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "geometry/polygon.h"
#include "geometry/profile.h"

namespace interstice::layout {

struct CellSeam {
  std::size_t a = 0, b = 0;           // cells on the left and on the right of the line
  std::vector<Eigen::Vector2d> line;  // on the map, at steps of at most 2 mm on the form
};

struct CellComplex {
  std::vector<geometry::Polygon> cells;  // on the map, counter-clockwise, without gaps
  std::vector<char> on_rim;              // the cell reaches the rim
  std::vector<CellSeam> seams;
};

// Marks as on the rim, besides those that reach it, the cells that have no other cell between them and the rim
// and stand nearer to it than 0.6 of their own depth: a lowest line drawn some way above the rim. Outlines in
// steps of a millimetre or less. A cell above a place where none was traced stays as it is.
void mark_lowest(CellComplex& complex, double rim_rho_mm);

// Rings by neighbourhood: 1 for the cells on the rim, then one more for every seam to cross from it.
std::vector<int> rings_from_rim(const CellComplex& complex);

// A01, A02, ... ring by ring, counter-clockwise from theta = 0 by the pieces' centres; one label a piece.
std::vector<std::string> labels_by_ring(const std::vector<int>& rings,
                                        const std::vector<Eigen::Vector2d>& centres);

}  // namespace interstice::layout
