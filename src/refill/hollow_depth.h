// How deep a hollow is, from what the photos see through its opening.
//
// A line of sight that enters the opening meets a wall of one of the pieces, whose place the dry measurement knows,
// unless it meets the hollow's floor before. Where the wall would be met at depth z, the photo shows wood if the
// floor lies deeper, resin if not: so over all lines of sight of all photos, wood changes to resin at the floor's
// depth. Wood and resin are told apart by their hue in that very photo (the neighbouring face's, the band's), so
// that neither light nor colours need be known; places too dark to have a hue say nothing. A line nearly along a wall
// meets it no one knows how deep: each line has its own uncertainty, from where the outline lies in the photo and how the
// wall leans. Where no change is seen, the hollow is at least as deep as the deepest wood seen. mm below the tape line.
#pragma once

#include <optional>

#include "refill/hollows.h"

namespace interstice::refill {

struct HollowDepth {
  double at_least_mm = 0;                      // seen, or 0 where nothing is seen of it
  std::optional<double> floor_mm;              // where wood changes to resin
  double floor_low_mm = 0, floor_high_mm = 0;  // 95 %, where there is a floor
};

// What is needed of the photos in the dry frame.
struct Sights {
  const scan::Scan& scan;
  const Band& band;
  const BandViews& views;
  const std::vector<std::vector<Eigen::Vector3f>>& wood;
  const ResinLook& look;
};

HollowDepth depth_of(const Sights& sights, const Patch& patch, const std::vector<std::size_t>& group_of_cell);

// One line of sight: where it would meet a wall (with its standard uncertainty), and how much like wood that place looks
// (0 resin, 1 wood).
struct Sight {
  double depth_mm = 0, sd_mm = 0, woodness = 0, weight = 0;
};

// The change from wood to resin along depth in a slot of this width; the sights in any order, of which so many count as
// one.
HollowDepth floor_from(std::vector<Sight> sights, double alike, double width_mm);

}  // namespace interstice::refill
