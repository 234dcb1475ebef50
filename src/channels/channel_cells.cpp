#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "channels/channel_parts.h"

namespace interstice::channels {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kLeastDoorway_mm2 = 1.0;  // two boxes: less is a grazing contact of the grid
constexpr double kLeastEnd_mm2 = 4.0;

class CellFiller {
 public:
  CellFiller(const ShellSolids& shell, const VoidGrid& grid,
             const std::vector<StationIndex>& station_of_column, ChannelNetwork& network)
      : shell_(shell), grid_(grid), station_(station_of_column), net_(network) {}

  void fill();

 private:
  std::size_t flat(std::size_t i, std::size_t j) const { return j * grid_.side() + i; }
  bool open(std::size_t i, std::size_t j, std::size_t k) const {
    return !grid_.wood(i, j, k) && grid_.void_fraction(i, j, k) > 0;
  }
  // A station's cell before it is known which of them hold any void.
  static std::size_t place_of(StationIndex station, std::size_t depth) {
    return station.value * kDepthCells + depth;
  }
  // Which of a station's cells, from form to tape, holds a layer of a column.
  std::size_t depth_cell(std::size_t i, std::size_t j, std::size_t k) const {
    const double depth = (static_cast<double>(k) + 0.5) * VoidGrid::kLayer_mm / grid_.column(i, j).tape_mm;
    return std::min(kDepthCells - 1, static_cast<std::size_t>(depth * static_cast<double>(kDepthCells)));
  }

  void gather_boxes(std::vector<LumpSum>& bodies);
  void gather_faces(std::map<std::pair<std::size_t, std::size_t>, LumpSum>& doors,
                    std::vector<LumpSum>& mouths, std::vector<LumpSum>& ends);

  const ShellSolids& shell_;
  const VoidGrid& grid_;
  const std::vector<StationIndex>& station_;  // of each column
  ChannelNetwork& net_;
};

void CellFiller::gather_boxes(std::vector<LumpSum>& bodies) {
  const std::size_t n = grid_.side();
  ByStation<LumpSum> mouths(net_.stations.size());
  ByStation<double> area(net_.stations.size()), depth(net_.stations.size());
  for (std::size_t j = 0; j < n; ++j) {
    for (std::size_t i = 0; i < n; ++i) {
      const StationIndex st = station_[flat(i, j)];
      if (st == kNoStation) continue;
      const double tape = grid_.column(i, j).tape_mm;
      area[st] += 1;
      depth[st] += tape;
      for (std::size_t k = 0; k < grid_.layers(); ++k) {
        const double f = grid_.void_fraction(i, j, k);
        if (f <= 0) continue;
        const std::size_t g = depth_cell(i, j, k);
        const Vector3d p = grid_.box_centre(i, j, k);
        const double volume = f * grid_.box_volume_mm3(i, j, k);
        bodies[place_of(st, g)].add(p, volume);
        net_.stations[st].volume_mm3 += volume;
        if (g + 1 == kDepthCells) mouths[st].add(p, volume);
      }
    }
  }
  for (const StationIndex s : net_.stations.indices()) {
    Station& st = net_.stations[s];
    if (area[s] > 0) st.depth_mm = depth[s] / area[s];
    net_.void_volume_mm3 += st.volume_mm3;
    if (st.width_mm == kInfinity && st.mouth.isZero()) {
      const Lump lump = (mouths[s].weight() > 0 ? mouths[s] : bodies[place_of(s, 0)]).lump();
      st.mouth = lump.centre;
      st.map = shell_.form.locate(st.mouth).uv;
    }
  }
}

void CellFiller::gather_faces(std::map<std::pair<std::size_t, std::size_t>, LumpSum>& doors,
                              std::vector<LumpSum>& mouths, std::vector<LumpSum>& ends) {
  const std::size_t n = grid_.side();
  const auto cell_at = [&](std::size_t i, std::size_t j, std::size_t k) {
    return place_of(station_[flat(i, j)], depth_cell(i, j, k));
  };
  const auto meet = [&](std::size_t a, std::size_t b, const Vector3d& p, double area) {
    if (a != b) doors[{std::min(a, b), std::max(a, b)}].add(p, area);
  };
  for (std::size_t j = 1; j + 1 < n; ++j) {
    for (std::size_t i = 1; i + 1 < n; ++i) {
      if (station_[flat(i, j)] == kNoStation) continue;
      const Vector2d s = grid_.scale(grid_.map_at(i, j).norm(), grid_.column(i, j).tape_mm / 2);
      const double side_mm2 = grid_.step_mm() * std::sqrt(s.x() * s.y()) * VoidGrid::kLayer_mm;
      const double top_mm2 = grid_.step_mm() * grid_.step_mm() * s.x() * s.y();
      for (std::size_t k = 0; k < grid_.layers(); ++k) {
        if (!open(i, j, k)) continue;
        const std::size_t cell = cell_at(i, j, k);
        const Vector3d p = grid_.box_centre(i, j, k);
        const std::size_t around[4][2] = {{i + 1, j}, {i, j + 1}, {i - 1, j}, {i, j - 1}};
        for (int side = 0; side < 4; ++side) {
          const auto [x, y] = around[side];
          const Vector3d q = (p + grid_.box_centre(x, y, k)) / 2;
          if (grid_.outside(x, y, k)) ends[cell].add(q, side_mm2);
          if (side < 2 && station_[flat(x, y)] != kNoStation && open(x, y, k))
            meet(cell, cell_at(x, y, k), q, side_mm2);
        }
        if (k + 1 < grid_.layers() && open(i, j, k + 1)) {
          meet(cell, cell_at(i, j, k + 1), (p + grid_.box_centre(i, j, k + 1)) / 2, top_mm2);
        } else if (!grid_.column(i, j).in_arris) {  // the tape is next
          Vector3d base, normal;
          grid_.base(grid_.map_at(i, j), base, normal);
          mouths[cell].add(base + grid_.column(i, j).tape_mm * normal, top_mm2);
        }
      }
    }
  }
}

void CellFiller::fill() {
  std::vector<LumpSum> bodies(net_.stations.size() * kDepthCells), mouths(bodies.size()), ends(bodies.size());
  std::map<std::pair<std::size_t, std::size_t>, LumpSum> doors;
  gather_boxes(bodies);
  gather_faces(doors, mouths, ends);
  std::vector<CellIndex> cell_of(bodies.size());
  ByStation<double> end_area(net_.stations.size());
  for (std::size_t c = 0; c < bodies.size(); ++c) {
    if (bodies[c].weight() <= 0) continue;
    ChannelCell cell;
    cell.body = bodies[c].lump();
    cell.volume_mm3 = bodies[c].weight();
    cell.station = StationIndex(c / kDepthCells);
    cell.depth = c % kDepthCells;
    if (mouths[c].weight() > 0) cell.ports.push_back({mouths[c].lump(), true});
    if (ends[c].weight() > 0) cell.ports.push_back({ends[c].lump(), false});
    end_area[cell.station] += ends[c].weight();
    cell_of[c] = net_.cells.cells.push_back(std::move(cell));
  }
  for (const StationIndex s : net_.stations.indices()) net_.stations[s].at_end = end_area[s] >= kLeastEnd_mm2;
  for (ChannelCell& cell : net_.cells.cells) {
    if (!net_.stations[cell.station].at_end)
      std::erase_if(cell.ports, [](const Port& p) { return !p.mouth; });
  }
  for (const auto& [pair, sum] : doors) {
    if (sum.weight() < kLeastDoorway_mm2) continue;
    net_.cells.doorways.push_back({cell_of[pair.first], cell_of[pair.second], sum.lump(), sum.weight()});
  }
  net_.cells.index_doorways();
}

}  // namespace

void fill_cells(const ShellSolids& shell, const VoidGrid& grid,
                const std::vector<StationIndex>& station_of_column, ChannelNetwork& network) {
  CellFiller(shell, grid, station_of_column, network).fill();
}

}  // namespace interstice::channels
