#include "pour/air.h"

#include <algorithm>
#include <cmath>
#include <queue>
#include <utility>

namespace interstice::pour {
namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kSameLevel_mm = 1e-9;

// Cells of one connected stretch of present cells, from `start`; marks them in `seen`.
std::vector<CellIndex> stretch_from(const channels::CellGraph& graph, const ByCell<char>& present,
                                    CellIndex start, ByCell<char>& seen) {
  std::vector<CellIndex> cells{start};
  seen[start] = 1;
  for (std::size_t k = 0; k < cells.size(); ++k) {
    for (const DoorwayIndex d : graph.at[cells[k]]) {
      const CellIndex next = graph.other_side(d, cells[k]);
      if (!present[next] || seen[next]) continue;
      seen[next] = 1;
      cells.push_back(next);
    }
  }
  return cells;
}

struct Candidate {
  CellIndex cell;
  const channels::Port* port = nullptr;
  double top = -kInfinity;
};

Candidate highest_port(const channels::CellGraph& graph, const std::vector<CellIndex>& cells,
                       const ByCell<char>& may_open, const Eigen::Vector3d& up) {
  Candidate best;
  for (const CellIndex c : cells) {
    if (!may_open[c]) continue;
    for (const channels::Port& port : graph.cells[c].ports) {
      const double top = port.place.level(up) + port.place.half_height(up);
      if (top > best.top) best = {c, &port, top};
    }
  }
  return best;
}

// Levels at which the ends of the shell stop letting air out: their own tops.
void add_end_vents(const channels::CellGraph& graph, const std::vector<CellIndex>& cells,
                   const ByCell<char>& may_open, const Eigen::Vector3d& up, double level,
                   ByCell<double>& vents) {
  for (const CellIndex c : cells) {
    if (!may_open[c]) continue;
    for (const channels::Port& port : graph.cells[c].ports) {
      if (port.mouth) continue;
      const double top = port.place.level(up) + port.place.half_height(up);
      vents[c] = std::max(vents[c], std::min(level, top));
    }
  }
}

// Ends that are tops of their surroundings: no doorway beside them lets air out higher.
std::vector<CellIndex> needed_vents(const ByCell<double>& vents, const ByCell<double>& escape,
                                    const std::vector<CellIndex>& inlets) {
  std::vector<CellIndex> out;
  for (const CellIndex c : vents.indices()) {
    if (vents[c] == -kInfinity || escape[c] > vents[c] + kSameLevel_mm) continue;
    if (std::find(inlets.begin(), inlets.end(), c) == inlets.end()) out.push_back(c);
  }
  return out;
}

}  // namespace

double fraction_below(const channels::Lump& lump, const Eigen::Vector3d& up, double level) {
  const double z = lump.level(up), half = lump.half_height(up);
  if (half < kSameLevel_mm) return z <= level + kSameLevel_mm ? 1.0 : 0.0;
  return std::clamp((level - (z - half)) / (2 * half), 0.0, 1.0);
}

ByCell<double> escape_levels(const channels::CellGraph& graph, const ByCell<char>& present,
                             const Eigen::Vector3d& up, const ByCell<double>& vent_level) {
  ByCell<double> escape(graph.cells.size(), -kInfinity);
  std::priority_queue<std::pair<double, CellIndex>> open;  // highest first
  for (const CellIndex c : escape.indices()) {
    if (!present[c] || vent_level[c] == -kInfinity) continue;
    escape[c] = vent_level[c];
    open.emplace(escape[c], c);
  }
  while (!open.empty()) {
    const auto [level, c] = open.top();
    open.pop();
    if (level < escape[c]) continue;
    for (const DoorwayIndex d : graph.at[c]) {
      const channels::Doorway& door = graph.doorways[d];
      const CellIndex next = graph.other_side(d, c);
      if (!present[next]) continue;
      const double through = std::min(level, door.place.level(up) + door.place.half_height(up));
      if (through <= escape[next]) continue;
      escape[next] = through;
      open.emplace(through, next);
    }
  }
  return escape;
}

ByCell<double> arrival_levels(const channels::CellGraph& graph, const ByCell<char>& present,
                              const Eigen::Vector3d& up, const std::vector<CellIndex>& sources) {
  ByCell<double> arrival(graph.cells.size(), kInfinity);
  std::priority_queue<std::pair<double, CellIndex>> open;  // lowest first, by negated level
  for (const CellIndex c : sources) {
    arrival[c] = -kInfinity;
    open.emplace(kInfinity, c);
  }
  while (!open.empty()) {
    const auto [negated, c] = open.top();
    open.pop();
    if (-negated > arrival[c]) continue;
    for (const DoorwayIndex d : graph.at[c]) {
      const channels::Doorway& door = graph.doorways[d];
      const CellIndex next = graph.other_side(d, c);
      if (!present[next]) continue;
      const double over = std::max(-negated, door.place.level(up) - door.place.half_height(up));
      if (over >= arrival[next]) continue;
      arrival[next] = over;
      open.emplace(-over, next);
    }
  }
  return arrival;
}

Fill pour_at(const channels::CellGraph& graph, const ByCell<double>& remaining, const ByCell<char>& may_open,
             const Eigen::Vector3d& up, double smallest_mm3) {
  const std::size_t n = graph.cells.size();
  Fill fill;
  fill.up = up;
  fill.filled.assign(n, 0.0);
  fill.level_mm.assign(n, std::numeric_limits<double>::quiet_NaN());
  fill.inlet_mm = fill.level_mm;
  ByCell<char> present(n), seen(n, 0);
  for (const CellIndex c : present.indices()) present[c] = remaining[c] > 0;
  ByCell<double> vents(n, -kInfinity);
  std::vector<CellIndex> sources;
  std::vector<std::pair<std::vector<CellIndex>, std::size_t>> stretches;  // cells, opening
  for (const CellIndex start : present.indices()) {
    if (!present[start] || seen[start]) continue;
    std::vector<CellIndex> cells = stretch_from(graph, present, start, seen);
    double volume = 0;
    for (const CellIndex c : cells) volume += remaining[c] * graph.cells[c].volume_mm3;
    fill.left_mm3 += volume;
    if (volume < smallest_mm3) continue;
    const Candidate inlet = highest_port(graph, cells, may_open, up);
    if (inlet.port == nullptr) continue;
    add_end_vents(graph, cells, may_open, up, inlet.top, vents);
    vents[inlet.cell] = inlet.top;
    sources.push_back(inlet.cell);
    fill.openings.push_back({inlet.cell, *inlet.port, inlet.top, inlet.top, 0});
    stretches.emplace_back(std::move(cells), fill.openings.size() - 1);
  }
  const ByCell<double> escape = escape_levels(graph, present, up, vents);
  const ByCell<double> arrival = arrival_levels(graph, present, up, sources);
  fill.vents = needed_vents(vents, escape, sources);
  for (const auto& [cells, opening] : stretches) {
    Opening& inlet = fill.openings[opening];
    for (const CellIndex c : cells) {
      fill.inlet_mm[c] = inlet.level_mm;
      fill.level_mm[c] = std::min(inlet.level_mm, escape[c]);
      if (arrival[c] > inlet.level_mm + kSameLevel_mm) continue;
      fill.filled[c] = fraction_below(graph.cells[c].body, up, fill.level_mm[c]);
      const double volume = fill.filled[c] * remaining[c] * graph.cells[c].volume_mm3;
      if (volume <= 0) continue;
      inlet.volume_mm3 += volume;
      const channels::Lump& body = graph.cells[c].body;
      inlet.lowest_mm = std::min(inlet.lowest_mm, body.level(up) - body.half_height(up));
    }
    fill.volume_mm3 += inlet.volume_mm3;
  }
  fill.left_mm3 = std::max(0.0, fill.left_mm3 - fill.volume_mm3);
  std::stable_sort(fill.openings.begin(), fill.openings.end(),
                   [](const Opening& a, const Opening& b) { return a.volume_mm3 > b.volume_mm3; });
  return fill;
}

}  // namespace interstice::pour
