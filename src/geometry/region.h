// Set operations and rounding offsets of plane regions (Clipper library, integer grid of 0.1 micrometre). mm.
#pragma once

#include <vector>

#include "geometry/polygon.h"

namespace interstice::geometry {

using Region = std::vector<Polygon>;  // outer boundaries counter-clockwise, holes clockwise

Region united(const Region& parts);
Region difference(const Region& from, const Region& take_away);
Region intersection(const Region& a, const Region& b);
// Every point within `distance` of the region (negative: every point deeper than that inside it), corners
// round.
Region offset_round(const Region& region, double distance);
// Erosion followed by dilation: corners that stick out get the radius, necks narrower than 2 radii vanish.
Region opened(const Region& region, double radius);

double area(const Region& region);
// The outer boundary with the largest area; empty if there is none.
Polygon largest(const Region& region);

// A ribbon along a line: half_widths[i] to both sides of line[i], with round ends. Meant for lines that bend
// gently.
Polygon ribbon(const std::vector<Eigen::Vector2d>& line, const std::vector<double>& half_widths);

}  // namespace interstice::geometry
