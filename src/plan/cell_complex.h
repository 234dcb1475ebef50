// The form divided into cells by centre lines, one cell a piece; the gaps are taken out of it later.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "geometry/polygon.h"
#include "geometry/profile.h"

namespace interstice {

struct CellSeam {
  std::size_t a = 0, b = 0;           // cells on the left and on the right of the line
  std::vector<Eigen::Vector2d> line;  // on the map, at steps of at most 2 mm on the form
};

struct CellComplex {
  std::vector<Polygon> cells;  // on the map, counter-clockwise, without gaps
  std::vector<char> on_rim;    // the cell reaches the rim
  std::vector<CellSeam> seams;
};

// The straightest way between two places of the form (their chord, brought down to the form), both ends
// included.
std::vector<Eigen::Vector2d> surface_line(const Profile& form, const Eigen::Vector2d& from,
                                          const Eigen::Vector2d& to, double step_mm);

// Area on the form enclosed by a polygon on the map (the map's area times its local scale), mm^2.
double surface_area(const Profile& form, const Polygon& on_map);
// Area of the whole form from pole to rim.
double surface_area(const Profile& form);

// Rings by neighbourhood: 1 for the cells on the rim, then one more for every seam to cross from it.
std::vector<int> rings_from_rim(const CellComplex& complex);

// A01, A02, ... ring by ring, counter-clockwise from theta = 0 by the pieces' centres; one label a piece.
std::vector<std::string> labels_by_ring(const std::vector<int>& rings,
                                        const std::vector<Eigen::Vector2d>& centres);

}  // namespace interstice
