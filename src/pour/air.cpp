#include "pour/air.h"

#include <algorithm>
#include <cmath>
#include <queue>
#include <utility>

namespace interstice::pour {
namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kSameLevel_mm = 1e-9;

std::size_t other_side(const channels::Doorway& d, std::size_t cell) {
  return d.a == cell ? d.b : d.a;
}

// Cells of one connected stretch of present cells, from `start`; marks them in `seen`.
std::vector<std::size_t> stretch_from(const channels::CellGraph& graph, const std::vector<char>& present,
                                      std::size_t start, std::vector<char>& seen) {
  std::vector<std::size_t> cells{start};
  seen[start] = 1;
  for (std::size_t k = 0; k < cells.size(); ++k) {
    for (const std::size_t d : graph.at[cells[k]]) {
      const std::size_t next = other_side(graph.doorways[d], cells[k]);
      if (!present[next] || seen[next]) continue;
      seen[next] = 1;
      cells.push_back(next);
    }
  }
  return cells;
}

struct Candidate {
  std::size_t cell = 0;
  const channels::Port* port = nullptr;
  double top = -kInfinity;
};

Candidate highest_port(const channels::CellGraph& graph, const std::vector<std::size_t>& cells,
                       const std::vector<char>& may_open, const Eigen::Vector3d& up) {
  Candidate best;
  for (const std::size_t c : cells) {
    if (!may_open[c]) continue;
    for (const channels::Port& port : graph.cells[c].ports) {
      const double top = port.place.level(up) + port.place.half_height(up);
      if (top > best.top) best = {c, &port, top};
    }
  }
  return best;
}

// Levels at which the ends of the shell stop letting air out: their own tops.
void add_end_vents(const channels::CellGraph& graph, const std::vector<std::size_t>& cells,
                   const std::vector<char>& may_open, const Eigen::Vector3d& up, double level,
                   std::vector<double>& vents) {
  for (const std::size_t c : cells) {
    if (!may_open[c]) continue;
    for (const channels::Port& port : graph.cells[c].ports) {
      if (port.mouth) continue;
      const double top = port.place.level(up) + port.place.half_height(up);
      vents[c] = std::max(vents[c], std::min(level, top));
    }
  }
}

// Ends that are tops of their surroundings: no doorway beside them lets air out higher.
std::vector<std::size_t> needed_vents(const std::vector<double>& vents, const std::vector<double>& escape,
                                      const std::vector<std::size_t>& inlets) {
  std::vector<std::size_t> out;
  for (std::size_t c = 0; c < vents.size(); ++c) {
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

std::vector<double> escape_levels(const channels::CellGraph& graph, const std::vector<char>& present,
                                  const Eigen::Vector3d& up, const std::vector<double>& vent_level) {
  std::vector<double> escape(graph.cells.size(), -kInfinity);
  std::priority_queue<std::pair<double, std::size_t>> open;  // highest first
  for (std::size_t c = 0; c < escape.size(); ++c) {
    if (!present[c] || vent_level[c] == -kInfinity) continue;
    escape[c] = vent_level[c];
    open.emplace(escape[c], c);
  }
  while (!open.empty()) {
    const auto [level, c] = open.top();
    open.pop();
    if (level < escape[c]) continue;
    for (const std::size_t d : graph.at[c]) {
      const channels::Doorway& door = graph.doorways[d];
      const std::size_t next = other_side(door, c);
      if (!present[next]) continue;
      const double through = std::min(level, door.place.level(up) + door.place.half_height(up));
      if (through <= escape[next]) continue;
      escape[next] = through;
      open.emplace(through, next);
    }
  }
  return escape;
}

std::vector<double> arrival_levels(const channels::CellGraph& graph, const std::vector<char>& present,
                                   const Eigen::Vector3d& up, const std::vector<std::size_t>& sources) {
  std::vector<double> arrival(graph.cells.size(), kInfinity);
  std::priority_queue<std::pair<double, std::size_t>> open;  // lowest first, by negated level
  for (const std::size_t c : sources) {
    arrival[c] = -kInfinity;
    open.emplace(kInfinity, c);
  }
  while (!open.empty()) {
    const auto [negated, c] = open.top();
    open.pop();
    if (-negated > arrival[c]) continue;
    for (const std::size_t d : graph.at[c]) {
      const channels::Doorway& door = graph.doorways[d];
      const std::size_t next = other_side(door, c);
      if (!present[next]) continue;
      const double over = std::max(-negated, door.place.level(up) - door.place.half_height(up));
      if (over >= arrival[next]) continue;
      arrival[next] = over;
      open.emplace(-over, next);
    }
  }
  return arrival;
}

Fill pour_at(const channels::CellGraph& graph, const std::vector<double>& remaining,
             const std::vector<char>& may_open, const Eigen::Vector3d& up, double smallest_mm3) {
  const std::size_t n = graph.cells.size();
  Fill fill;
  fill.up = up;
  fill.filled.assign(n, 0.0);
  fill.level_mm.assign(n, std::numeric_limits<double>::quiet_NaN());
  fill.inlet_mm = fill.level_mm;
  std::vector<char> present(n), seen(n, 0);
  for (std::size_t c = 0; c < n; ++c) present[c] = remaining[c] > 0;
  std::vector<double> vents(n, -kInfinity);
  std::vector<std::size_t> sources;
  std::vector<std::pair<std::vector<std::size_t>, std::size_t>> stretches;  // cells, opening
  for (std::size_t start = 0; start < n; ++start) {
    if (!present[start] || seen[start]) continue;
    std::vector<std::size_t> cells = stretch_from(graph, present, start, seen);
    double volume = 0;
    for (const std::size_t c : cells) volume += remaining[c] * graph.cells[c].volume_mm3;
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
  const std::vector<double> escape = escape_levels(graph, present, up, vents);
  const std::vector<double> arrival = arrival_levels(graph, present, up, sources);
  fill.vents = needed_vents(vents, escape, sources);
  for (const auto& [cells, opening] : stretches) {
    Opening& inlet = fill.openings[opening];
    for (const std::size_t c : cells) {
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
