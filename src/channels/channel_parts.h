// Building a channel network in two halves: stations along the seams, then the cells of void that belong to
// them. Bowl frame, mm.
#pragma once

#include <cstddef>
#include <vector>

#include "channels/channel_network.h"

namespace interstice::channels {

inline constexpr StationIndex kNoStation{static_cast<std::size_t>(-1)};

// Channels and their stations as the mouths give them, and the station each column of the grid belongs to
// (column i, j at j * side + i; kNoStation where there is no void between pieces).
struct StationDraft {
  ByChannel<Channel> channels;
  ByStation<Station> stations;
  std::vector<StationIndex> station_of_column;
};
// Along the seam, the length that belongs to point k: half way to its neighbours, or to where the width
// passes the limit if a neighbour is on its other side.
double length_of_point(const std::vector<WidthPoint>& mouth, std::size_t k, double limit_mm);

StationDraft draft_stations(const seams::FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid,
                            double smallest_fill_mm, int threads);

// The cells, doorways and ports; completes the stations' volumes, depths and ends.
void fill_cells(const ShellSolids& shell, const VoidGrid& grid,
                const std::vector<StationIndex>& station_of_column, ChannelNetwork& network);

}  // namespace interstice::channels
