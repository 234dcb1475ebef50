// Where resin goes and where air stays when one pour is made at one tilt.
//
// Model. The bowl stands still; `up` is the direction against gravity in the bowl frame. All mouths are taped
// except one opening in each connected stretch of void: the highest place where it can be opened. Resin is
// poured there slowly, air leaves by the same opening, and the level rises to the opening's top. Ends of the
// shell (rim, open ring) are vents too until resin shows there; then they are closed.
//  - Resin gets to a cell if it need not climb above the level on its way (lowest sill over all paths).
//  - A cell's air leaves as long as some path of doorways to the opening is not yet drowned: it leaves up to
//    the highest level that the lowest doorway top of a path can have (priority-flood with heights negated
//    and seeded at the vents: Barnes, Lehman, Mulla 2014, doi 10.1016/j.cageo.2013.04.024). What lies above
//    stays.
// Air is taken as incompressible and too-tight places as closed to both, so pockets are not underestimated.
#pragma once

#include <cstddef>
#include <limits>
#include <vector>

#include "channels/cell_graph.h"

namespace interstice::pour {

using channels::ByCell, channels::ByChannel, channels::ByStation;
using channels::CellIndex, channels::ChannelIndex, channels::DoorwayIndex, channels::StationIndex;

// For each cell the level up to which its air can leave to a vent (minus infinity: never). `vent_level` holds
// the level of the opening for vents and minus infinity elsewhere; absent cells take no part.
ByCell<double> escape_levels(const channels::CellGraph& graph, const ByCell<char>& present,
                             const Eigen::Vector3d& up, const ByCell<double>& vent_level);

// For each cell the lowest level at which resin from the source cells reaches it (infinity: never).
ByCell<double> arrival_levels(const channels::CellGraph& graph, const ByCell<char>& present,
                              const Eigen::Vector3d& up, const std::vector<CellIndex>& sources);

struct Opening {
  CellIndex cell;
  channels::Port port;
  double level_mm = 0;    // resin stands this high, along up
  double lowest_mm = 0;   // lowest place filled through it
  double volume_mm3 = 0;  // poured through it
};

struct Fill {
  Eigen::Vector3d up{0, 0, 1};
  std::vector<Opening> openings;  // largest volume first
  ByCell<double> filled;          // fraction of each cell's remaining space that this pour fills
  ByCell<double> level_mm;        // of the resin over each cell that took part; NaN elsewhere
  ByCell<double> inlet_mm;        // of the opening its stretch is filled through; NaN elsewhere
  std::vector<CellIndex> vents;   // whose end lets out air that could not leave otherwise
  double volume_mm3 = 0, left_mm3 = 0;
};

// One pour at one tilt into what is still empty: remaining[c] is the fraction of cell c not yet filled (0 for
// cells that take no part). Stretches smaller than `smallest_mm3` are not worth an opening and stay empty.
// may_open[c]: the cell's ports may be used.
Fill pour_at(const channels::CellGraph& graph, const ByCell<double>& remaining, const ByCell<char>& may_open,
             const Eigen::Vector3d& up, double smallest_mm3);

// The fraction of a lump that lies below a level.
double fraction_below(const channels::Lump& lump, const Eigen::Vector3d& up, double level);

}  // namespace interstice::pour
