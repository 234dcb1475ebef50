// Closed cells between drawn lines, their outlines along the lines' centres to a fraction of a pixel.
#pragma once

#include <vector>

#include "geometry/polygon.h"
#include "layout/trace_lines.h"

namespace interstice::layout {

struct TracedCell {
  geometry::Polygon outline;  // on the map, counter-clockwise, steps of about half a millimetre
  std::vector<int> beyond;    // for every outline point: the cell across the line, -1 for none
  bool on_rim = false;
  double unseen_share = 0;        // of the outline that runs along places no photo shows
  double undrawn_share = 0;       // of the outline where the line has a break
  bool line_ends_inside = false;  // a line runs into it and stops: two pieces may have been taken for one
};

// Compact closed regions; long thin ones (the gaps between double lines) and specks are left out.
std::vector<TracedCell> find_cells(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                                   const LinePicture& lines);

}  // namespace interstice::layout
