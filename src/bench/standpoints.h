// Where photos were taken from, by the cards they show.
//
// Frame: the bench, level, z up (scan/card_poses.h). Directions are told as on a clock face seen from above,
// its middle under the point that the photos look at, 12 where the lowest card number lies.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/dial.h"
#include "bench/photo_check.h"
#include "camera/lens.h"

namespace interstice::bench {

// Photos without card, or whose cards do not hang together with the others', are passed over. With fewer than
// three photos nothing is known yet. The lens file serves photos of its shape; others go by their EXIF.
Dial standpoints(const std::vector<PhotoCheck>& checks, const std::optional<camera::Lens>& lens);

}  // namespace interstice::bench
