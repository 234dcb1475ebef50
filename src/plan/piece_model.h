// From a footprint on the form to the piece that stands on it.
//
// Model: the outer face is a plane, raised by the stock's thickness along the form's normal at the
// footprint's centre (area centroid on the map); its outline is the footprint seen along that normal, grown
// outward in the plane by thickness x tan(bevel). Bowl frame, mm.
#pragma once

#include "geometry/plane.h"
#include "plan/plan.h"

namespace interstice::plan {

struct PieceFace {
  geometry::PlaneFrame frame;  // origin over the footprint's centre; ex along the ring, ey towards the pole
  geometry::Polygon outline;   // arris in the frame, counter-clockwise seen from outside
};

PieceFace planned_face(const Plan& plan, geometry::TileIndex tile);

}  // namespace interstice::plan
