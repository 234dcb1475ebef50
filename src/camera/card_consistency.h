// Inside the camera stage: corners of one card that do not fit the others.
#pragma once

#include "camera/cards.h"

namespace interstice::camera {

// Fits a plane seen through a lens of two radial terms about the picture's middle (a homography alone when
// the corners are few) and drops corners that lie off it by more than the others' scatter allows.
void drop_inconsistent_corners(CardView& view, int width, int height);

}  // namespace interstice::camera
