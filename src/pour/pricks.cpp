// Where the tape is pricked, and what creeps past what is too narrow to fill.
#include <algorithm>
#include <limits>

#include "pour/pour_parts.h"

namespace interstice::pour {
namespace {

// Shorter dead ends are a pool at the corner of a junction; two stations of the network.
constexpr double kLeastDeadEnd_mm = 4.0;
constexpr double kWet = 1e-6;  // of a cell

using Graph = ByStation<std::vector<StationIndex>>;  // those beside it

ByStation<char> wet_stations(const PourScene& scene, const ByCell<double>& part) {
  ByStation<char> wet(scene.net.stations.size(), 0);
  for (const CellIndex c : part.indices()) {
    if (part[c] > kWet) wet[scene.net.cells.cells[c].station] = 1;
  }
  return wet;
}

Graph beside(const PourScene& scene, const ByStation<char>& wet) {
  Graph next(wet.size());
  for (const channels::WidthLink& l : scene.net.links) {
    if (!wet[l.a] || !wet[l.b]) continue;
    next[l.a].push_back(l.b);
    next[l.b].push_back(l.a);
  }
  return next;
}

// Trims the leaves of the wet seams again and again: what falls off is a dead end. Of what hangs down and is narrow,
// the length is added up towards the lowest station of its dead end.
class Trimming {
 public:
  Trimming(const PourScene& scene, const PourStep& step, const ByCell<double>& part)
      : net_(scene.net), up_(step.fill.up), live_(wet_stations(scene, part)), next_(beside(scene, live_)) {
    for (const Opening& o : step.fill.openings)
      kept_.push_back(net_.cells.cells[o.cell].station);  // never trimmed
    hanging_mm_.assign(live_.size(), 0.0);
    lowest_.resize(live_.size());
    for (const StationIndex s : lowest_.indices()) lowest_[s] = s;
  }

  void trim(double bubble_limit_mm) {
    ByStation<std::size_t> degree(live_.size());
    std::vector<StationIndex> queue;
    for (const StationIndex s : live_.indices()) {
      degree[s] = next_[s].size();
      if (live_[s] && degree[s] == 1 && !kept(s)) queue.push_back(s);
    }
    while (!queue.empty()) {
      const StationIndex s = queue.back();
      queue.pop_back();
      if (!live_[s]) continue;
      live_[s] = 0;
      for (const StationIndex t : next_[s]) {
        if (!live_[t]) continue;
        if (height(s) < height(t) && net_.stations[s].width_mm < bubble_limit_mm)
          hanging_mm_[lowest_[s]] += net_.stations[s].length_mm;
        if (height(lowest_[s]) < height(lowest_[t])) lowest_[t] = lowest_[s];
        if (--degree[t] == 1 && !kept(t)) queue.push_back(t);
      }
    }
  }

  // By station: the length of narrow seam that hangs down to it.
  const ByStation<double>& hanging_mm() const { return hanging_mm_; }

 private:
  double height(StationIndex s) const { return net_.stations[s].mouth.dot(up_); }
  bool kept(StationIndex s) const { return std::find(kept_.begin(), kept_.end(), s) != kept_.end(); }

  const channels::ChannelNetwork& net_;
  Eigen::Vector3d up_;
  ByStation<char> live_;
  Graph next_;
  std::vector<StationIndex> kept_;
  ByStation<StationIndex> lowest_;
  ByStation<double> hanging_mm_;
};

// Cells joined to the first by doorways, all of them wanted; taken out of `wanted`.
std::vector<CellIndex> take_joined(const channels::CellGraph& graph, CellIndex first, ByCell<char>& wanted) {
  std::vector<CellIndex> cells{first};
  wanted[first] = 0;
  for (std::size_t k = 0; k < cells.size(); ++k) {
    for (const DoorwayIndex d : graph.at[cells[k]]) {
      const CellIndex other = graph.other_side(d, cells[k]);
      if (!wanted[other]) continue;
      wanted[other] = 0;
      cells.push_back(other);
    }
  }
  return cells;
}

// Resin of this pour in the cell or in one joined to it.
bool wetted(const channels::CellGraph& graph, const Fill& fill, CellIndex cell) {
  return std::any_of(graph.at[cell].begin(), graph.at[cell].end(), [&](DoorwayIndex d) {
    return fill.filled[graph.doorways[d].a] > kWet || fill.filled[graph.doorways[d].b] > kWet;
  });
}

// The cell whose mouth under the tape is highest; none where the pocket has no mouth that can be pricked.
std::optional<CellIndex> highest_mouth(const PourScene& scene, const std::vector<CellIndex>& cells,
                                       const Eigen::Vector3d& up) {
  std::optional<CellIndex> best;
  double top = -std::numeric_limits<double>::infinity();
  for (const CellIndex c : cells) {
    for (const channels::Port& port : scene.net.cells.cells[c].ports) {
      const double level = port.place.level(up) + port.place.half_height(up);
      if (port.mouth && level > top) top = level, best = c;
    }
  }
  return best;
}

}  // namespace

DeadEnds dead_ends(const PourScene& scene, const PourStep& step, const ByCell<double>& part,
                   double bubble_limit_mm) {
  Trimming trimming(scene, step, part);
  trimming.trim(bubble_limit_mm);
  DeadEnds out;
  for (const StationIndex s : scene.net.stations.indices()) {
    const double length = trimming.hanging_mm()[s];
    out.length_mm += length;
    if (length < kLeastDeadEnd_mm) continue;
    out.pricks.push_back({scene.tiles_at(s), scene.net.stations[s].map, scene.place_at(s), length, 0});
  }
  std::stable_sort(out.pricks.begin(), out.pricks.end(),
                   [](const PrickPlace& a, const PrickPlace& b) { return a.length_mm > b.length_mm; });
  return out;
}

std::vector<PrickPlace> pocket_pricks(const PourScene& scene, const PourStep& step, double least_mm3,
                                      ByCell<double>& left) {
  const channels::CellGraph& graph = scene.net.cells;
  // With its air let out, a cell fills up to the level of the opening its stretch is filled through.
  ByCell<double> gain(left.size(), 0.0);
  ByCell<char> wanted(left.size(), 0);
  for (const CellIndex c : left.indices()) {
    if (left[c] <= kWet || !(step.fill.level_mm[c] < step.fill.inlet_mm[c])) continue;
    const double whole = fraction_below(graph.cells[c].body, step.fill.up, step.fill.inlet_mm[c]);
    gain[c] = std::clamp(whole - fraction_below(graph.cells[c].body, step.fill.up, step.fill.level_mm[c]),
                         0.0, left[c]);
    wanted[c] = gain[c] > 0;
  }
  std::vector<PrickPlace> out;
  for (const CellIndex first : wanted.indices()) {
    if (!wanted[first]) continue;
    const std::vector<CellIndex> cells = take_joined(graph, first, wanted);
    // Resin stands beside it, or letting its air out brings none.
    if (std::none_of(cells.begin(), cells.end(), [&](CellIndex c) { return wetted(graph, step.fill, c); }))
      continue;
    double air = 0;
    for (const CellIndex c : cells) air += gain[c] * graph.cells[c].volume_mm3;
    const auto at = highest_mouth(scene, cells, step.fill.up);
    if (air < least_mm3 || !at) continue;
    for (const CellIndex c : cells) left[c] -= gain[c];
    const StationIndex s = graph.cells[*at].station;
    out.push_back({scene.tiles_at(s), scene.net.stations[s].map, scene.place_at(s), 0, to_ml(air)});
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const PrickPlace& a, const PrickPlace& b) { return a.volume_ml > b.volume_ml; });
  return out;
}

double creep_mm3(const PourScene& scene, const ByCell<double>& part, ByCell<char>& crept) {
  const channels::CellGraph& graph = scene.net.cells;
  ByCell<char> narrow(part.size(), 0);
  for (const CellIndex c : part.indices()) {
    const channels::Station& station = scene.net.stations[graph.cells[c].station];
    narrow[c] = !crept[c] && !scene.reached_cell[c] &&
                std::min(station.width_mm, station.width_at_mm[graph.cells[c].depth]) < scene.fill_mm;
  }
  double volume = 0;
  for (const channels::Doorway& door : graph.doorways) {
    for (const auto& [from, to] : {std::pair{door.a, door.b}, std::pair{door.b, door.a}}) {
      if (part[from] <= kWet || !narrow[to]) continue;
      for (const CellIndex c : take_joined(graph, to, narrow)) {
        crept[c] = 1;
        volume += graph.cells[c].volume_mm3;
      }
    }
  }
  return volume;
}

}  // namespace interstice::pour
