// How far a hollow reaches: across to the wood, along to where resin is proved.
//
// Resin stands in a seam where it is wide before it stands where it is narrow, and none of its width where it does not
// bridge it. So what no photo tells of belongs to the hollow beside it: what lies between two parts of it, what lies
// along the wood, and what follows along the seam up to the first step where half of the way across is proved resin or as
// light as resin.
#pragma once

#include "refill/hollows.h"

namespace interstice::refill {

constexpr float kHardlySeen = 0.15f;   // weight of a cell of which photos show too little
constexpr double kLineShare = 0.5;     // of the way across: less of it may be a line along the wood
constexpr double kWidestPit_mm = 4.0;  // bubbles are a few millimetres wide (common practice, no source)

// A part of a joined hollow in one seam.
struct SeamPart {
  Pair pair;
  std::vector<CellIndex> cells;
  std::size_t group = 0;
  std::vector<CellIndex> followed;  // cells that only what lies beside them speaks for
};

// Without what runs on along one side only, beyond where a hollow fills half the way across: the line that a meniscus or
// an outline a little off draws.
std::vector<CellIndex> without_tails(const Band& band, const std::vector<CellIndex>& cells, const Pair& pair);

// Joins parts of one seam that a narrow neck cuts apart.
void join_unproved(const Band& band, const ResinLook& look, std::vector<SeamPart>& parts);

// Where a hollow fills half the way across, all of it up to the wood on either side belongs to it: what seems to be resin
// there is a wall in light.
std::vector<CellIndex> from_wood_to_wood(const Band& band, const std::vector<CellIndex>& cells,
                                         const Pair& pair);

// Ends where light is half way between the resin's and the hollow's.
std::vector<CellIndex> to_half_light(const Band& band, const ResinLook& look,
                                     const std::vector<CellIndex>& cells);

// On along the seam beyond either end, no farther than it is long.
void follow_unproved(const Band& band, const ResinLook& look, SeamPart& part);

}  // namespace interstice::refill
