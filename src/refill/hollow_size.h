// How large a hollow is and how sure that is: its opening and its volume.
//
// Opening. Across, a slot reaches from wood to wood: it is as wide as the dry measurement has the seam, as surely as
// the two outlines are known there (standard uncertainties of two pieces, each alike all along). Along, it ends where
// the photos show it, to the width over which cells are pooled. A bubble's edge is seen all round, to that of the spot.
// Volume. Below the opening lies a column down to the floor; beside it the room that walls leaning back leave, of which
// none need fill (air stays under them), less what a round form narrows it by. The lower end is what was seen: the
// opening without what of it is doubtful, down to the deepest wood seen. The upper end, where a floor is seen: the errors
// of opening and depth and the room beside are independent and add as squares (of logarithms); where none is: down to
// the form, the opening's standard uncertainty and the room beside what was seen added. mm2, mm, ml; 95 %.
#pragma once

#include <functional>

#include "refill/hollow_depth.h"
#include "refill/refill_document.h"

namespace interstice::refill {

// Half the 95 % range of a patch's opening, mm2.
double opening_u95_mm2(const Band& band, const Patch& patch);

// Of its opening: seen, and not hollow beyond doubt.
double doubtful_mm2(const Band& band, const ResinLook& look, const Patch& patch);

// Room that walls leaning back leave beside the column, down to a depth; what the column lacks because all that lies
// below a round shell's face is smaller. mm3
double drawn_back_mm3(const Band& band, const Patch& patch, double depth_mm);
double drawn_in_mm3(const Band& band, const Patch& patch, double depth_mm);

struct OpeningRange {
  double mm2 = 0, less_mm2 = 0, more_mm2 = 0;  // it may be smaller by, and larger by
};
struct DepthRange {
  double least_mm = 0;
  std::optional<double> floor_mm;  // empty: least and most are limits
  double most_mm = 0;
};
struct VolumeRange {
  double low_mm3 = 0, high_mm3 = 0;
};
struct WallRoom {  // by depth
  std::function<double(double)> back_mm3, in_mm3;
};
VolumeRange volume_range(const OpeningRange& opening, const DepthRange& depth, const WallRoom& walls);

// Fills in opening, depth and volume.
void add_size(const Band& band, const ResinLook& look, const Patch& patch, const HollowDepth& depth,
              Hollow& h);

}  // namespace interstice::refill
