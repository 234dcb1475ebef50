#include "channels/channel_network.h"

#include <algorithm>
#include <map>

#include "channels/channel_parts.h"

namespace interstice::channels {
namespace {

void link_stations(ChannelNetwork& net) {
  std::map<std::pair<StationIndex, StationIndex>, double> area;
  for (const Doorway& d : net.cells.doorways) {
    const StationIndex a = net.cells.cells[d.a].station, b = net.cells.cells[d.b].station;
    // Along one channel only neighbours meet: round a very short station the grid's boxes may touch.
    const bool past =
        net.stations[a].channel == net.stations[b].channel && std::max(a, b).value - std::min(a, b).value > 1;
    if (a != b && !past) area[{std::min(a, b), std::max(a, b)}] += d.area_mm2;
  }
  for (const Channel& c : net.channels) {  // a channel holds together even where the wood touches
    for (const StationIndex s : c.stations()) {
      if (s != c.first) area.try_emplace({StationIndex(s.value - 1), s}, 0.0);
    }
  }
  for (const auto& [pair, ignored] : area) {
    const auto [a, b] = pair;
    net.links.push_back({a, b, std::min(net.stations[a].width_mm, net.stations[b].width_mm)});
  }
}

void find_junctions(const ShellSolids& shell, const VoidGrid& grid,
                    const std::vector<StationIndex>& station_of_column, ChannelNetwork& net) {
  const std::size_t n = grid.side();
  const auto in_junction = [&](std::size_t at) {
    const VoidGrid::Column& c = grid.column(at % n, at / n);
    return station_of_column[at] != kNoStation && c.third != VoidGrid::kNone && c.d3 < c.d1 + c.d2;
  };
  std::vector<char> seen(n * n, 0);
  for (std::size_t start = 0; start < n * n; ++start) {
    if (seen[start] || !in_junction(start)) continue;
    std::vector<std::size_t> columns{start};
    seen[start] = 1;
    std::map<std::uint16_t, int> pieces;
    LumpSum top;
    Junction junction;
    for (std::size_t q = 0; q < columns.size(); ++q) {
      const std::size_t i = columns[q] % n, j = columns[q] / n;
      const VoidGrid::Column& c = grid.column(i, j);
      for (const std::uint16_t p : {c.first, c.second, c.third}) ++pieces[p];
      for (std::size_t k = 0; k < grid.layers(); ++k) {
        junction.volume_mm3 += grid.void_fraction(i, j, k) * grid.box_volume_mm3(i, j, k);
      }
      Eigen::Vector3d base, normal;
      grid.base(grid.map_at(i, j), base, normal);
      if (!c.in_arris) top.add(base + c.tape_mm * normal, 1);
      for (const std::size_t next : {columns[q] - 1, columns[q] + 1, columns[q] - n, columns[q] + n}) {
        if (next >= n * n || seen[next] || !in_junction(next)) continue;
        seen[next] = 1;
        columns.push_back(next);
      }
    }
    if (top.weight() < 4) continue;
    for (const auto& [p, count] : pieces) junction.tiles.push_back(geometry::TileIndex(p));
    junction.at = top.lump().centre;
    junction.map = shell.form.locate(junction.at).uv;
    net.junctions.push_back(std::move(junction));
  }
}

}  // namespace

std::vector<StationIndex> ChannelNetwork::openings() const {
  std::vector<StationIndex> out;
  for (const StationIndex s : stations.indices()) {
    if (stations[s].at_end) out.push_back(s);
  }
  return out;
}

ChannelNetwork channel_network(const seams::FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid,
                               double smallest_fill_mm, int threads) {
  StationDraft draft = draft_stations(fit, shell, grid, smallest_fill_mm, threads);
  ChannelNetwork net;
  net.channels = std::move(draft.channels);
  net.stations = std::move(draft.stations);
  fill_cells(shell, grid, draft.station_of_column, net);
  link_stations(net);
  find_junctions(shell, grid, draft.station_of_column, net);
  return net;
}

}  // namespace interstice::channels
