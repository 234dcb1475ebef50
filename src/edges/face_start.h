// Which planned pieces are on the form, and roughly where their faces lie, from the dense heights.
#pragma once

#include <vector>

#include "edges/face_shape.h"
#include "geometry/plane.h"
#include "plan/plan.h"
#include "plan/tile_state.h"
#include "surface/height_field.h"

namespace interstice::edges {

struct FaceStart {
  plan::TileState state = plan::TileState::unseen;
  geometry::PlaneFrame frame;  // of the face where placed (measured), otherwise as planned
  FaceShape shape;             // the same, and round where the heights ask for it
  double known = 0;            // share of the planned face's cells with a measured height
  double near_face = 0;        // share of the known cells at the face's height
  double height_sd_mm = 1.5,
         tilt_sd = 0.05;  // standard uncertainties of the frame: of its origin's height, rad
};

// A piece is there when most known heights over its planned place lie at face height, absent when they lie on
// the form; unseen when too little is known either way, or its face's plane not well enough to look for
// edges.
FaceStart start_face(const surface::HeightField& field, const plan::Plan& plan, geometry::TileIndex tile);

}  // namespace interstice::edges
