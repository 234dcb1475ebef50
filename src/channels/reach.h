// How wide a path leads from an opening to each place, and what each too-tight place cuts off.
//
// Bottleneck paths: the width of a path is its narrowest link; the widest path maximises it (M. Pollack 1960,
// "The maximum capacity through a network").
// mm.
#pragma once

#include <cstddef>
#include <vector>

#include "channels/index.h"

namespace interstice::channels {

struct WidthLink {
  StationIndex a, b;
  double width_mm = 0;
};

// Widest path from any source to every station; infinity at sources, 0 where nothing leads. station_width limits
// every path through (and into) a station; sources are limited by their own width too. Empty: no limit.
ByStation<double> widest_paths(std::size_t stations, const std::vector<WidthLink>& links,
                               const std::vector<StationIndex>& sources,
                               const ByStation<double>& station_width_mm = {});

// What lies behind closed stretches of channels. closed_by[i] is the channel that station i closes (too tight),
// kPassable if resin passes. Levels count how many closed channels must be crossed from an opening.
inline constexpr ChannelIndex kPassable{static_cast<std::size_t>(-1)};

struct Blocked {
  ChannelIndex channel;
  std::vector<StationIndex> own;     // its closed stations themselves
  std::vector<StationIndex> next;    // passable ones that opening it would free (once those before it are)
  std::vector<StationIndex> behind;  // next, and all that lies further behind through more closed channels
  int before = 0;  // closed channels that must be opened first; 0: it borders what resin reaches
};

struct ReachResult {
  ByStation<char> reached;  // resin gets there
  ByChannel<Blocked> blocked;
};

ReachResult stranded_behind(const std::vector<WidthLink>& links, const std::vector<StationIndex>& openings,
                            const ByStation<ChannelIndex>& closed_by, std::size_t channels);

}  // namespace interstice::channels
