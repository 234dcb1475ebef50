// What turning the shell round takes off the pieces, and what wall the stock leaves.
//
// Model: outside and inside are turned to surfaces at one distance from the form, along its normals, and both are to
// be wood all over. A flat face stands farthest out at its corners and lowest near its middle; a flat back touches
// the form near its middle and stands off it at the corners. So the outside comes down to the lowest place of any
// face, the inside out to the highest place of any back; a back shaped to the form, or hollowed until its edges lie
// on it, stands nowhere off. Bowl frame, mm.
#pragma once

#include <vector>

#include "solid/piece_body.h"

namespace interstice::layout {

struct TurnedWall {
  double outside_loss_mm = 0;       // most that comes off a face
  double inside_loss_mm = 0;        // most that comes off a back
  double wall_mm = 0;               // wood left; negative: none
  geometry::TileIndex most_inside;  // whose back loses most
};

// Of planned pieces; all zero without any.
TurnedWall turned_wall(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies);

}  // namespace interstice::layout
