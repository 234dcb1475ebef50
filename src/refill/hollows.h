// Hollows: connected places of the band that hold no standing resin.
//
// A hollow grows over neighbouring cells from a core that is surely hollow to where it is as likely filled. What
// joins across a junction is told apart seam by seam where each part is worth it. Opening: the area on the tape
// line between the dry measurement's outlines; length: along the longest extent. Pits are burst bubbles: small,
// round, and not the whole way from wood to wood. Lengths mm, bowl frame of the dry measurement.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "refill/resin_evidence.h"

namespace interstice::refill {

enum class HollowKind { slot, pit };

struct Patch {  // a hollow as cells of the band
  HollowKind kind = HollowKind::slot;
  std::array<geometry::TileIndex, 2> tiles;  // the seam, in the plan's order
  std::vector<CellIndex> cells;
  std::size_t group = 0;  // patches of one group join
  Eigen::Vector2d map{0, 0};
  Eigen::Vector3d at{0, 0, 0}, normal{0, 0, 1};
  Eigen::Vector3d along{1, 0, 0};  // unit, of its longest extent
  double length_mm = 0, opening_mm2 = 0;
  double followed_mm2 = 0;           // of the opening: no photo tells, what lies beside it does
  double certainty = 0;              // mean log of odds of its cells
  double hue_share = 0;              // of what is seen of it: of another hue than resin, the wood of walls
  double shade = 1;                  // median light of its cells over that of plain resin
  std::vector<Eigen::Vector3d> rim;  // closed, round its largest part
};

std::vector<Patch> find_hollows(const Band& band, const ResinLook& look);

}  // namespace interstice::refill
