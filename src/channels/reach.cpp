#include "channels/reach.h"

#include <algorithm>
#include <functional>
#include <limits>
#include <numeric>
#include <queue>
#include <set>
#include <utility>

namespace interstice::channels {
namespace {

constexpr int kNever = std::numeric_limits<int>::max();

using Neighbours = ByStation<std::vector<std::pair<StationIndex, double>>>;

Neighbours neighbours_of(std::size_t stations, const std::vector<WidthLink>& links) {
  Neighbours out(stations);
  for (const WidthLink& l : links) {
    out[l.a].emplace_back(l.b, l.width_mm);
    out[l.b].emplace_back(l.a, l.width_mm);
  }
  return out;
}

// Regions: every connected stretch of passable stations, and every connected stretch that one channel closes.
using RegionIndex = geometry::Index<struct RegionTag>;
template <class T>
using ByRegion = geometry::IndexedVector<RegionIndex, T>;
constexpr RegionIndex kNoRegion{static_cast<std::size_t>(-1)};

struct Regions {
  ByStation<RegionIndex> of;
  ByRegion<ChannelIndex> closed_by;  // or kPassable
  ByRegion<std::set<RegionIndex>> touching;
  ByRegion<std::vector<StationIndex>> stations;

  bool closed(RegionIndex region) const { return closed_by[region] != kPassable; }
};

Regions regions_of(const Neighbours& next, const ByStation<ChannelIndex>& closed_by) {
  Regions r;
  r.of.assign(closed_by.size(), kNoRegion);
  for (const StationIndex start : closed_by.indices()) {
    if (r.of[start] != kNoRegion) continue;
    const RegionIndex region = r.closed_by.push_back(closed_by[start]);
    std::vector<StationIndex> stack{start};
    r.of[start] = region;
    while (!stack.empty()) {
      const StationIndex n = stack.back();
      stack.pop_back();
      for (const auto& [m, width] : next[n]) {
        if (closed_by[m] != closed_by[start] || r.of[m] != kNoRegion) continue;
        r.of[m] = region;
        stack.push_back(m);
      }
    }
  }
  r.touching.resize(r.closed_by.size());
  r.stations.resize(r.closed_by.size());
  for (const StationIndex n : closed_by.indices()) {
    r.stations[r.of[n]].push_back(n);
    for (const auto& [m, width] : next[n]) {
      if (r.of[m] != r.of[n]) r.touching[r.of[n]].insert(r.of[m]);
    }
  }
  return r;
}

// Closed regions to cross until a region is reached, itself included.
ByRegion<int> levels_of(const Regions& r, const std::vector<StationIndex>& openings) {
  ByRegion<int> level(r.closed_by.size(), kNever);
  using Entry = std::pair<int, RegionIndex>;
  std::priority_queue<Entry, std::vector<Entry>, std::greater<>> open;
  const auto offer = [&](RegionIndex region, int value) {
    if (value >= level[region]) return;
    level[region] = value;
    open.emplace(value, region);
  };
  for (const StationIndex n : openings) offer(r.of[n], r.closed(r.of[n]) ? 1 : 0);
  while (!open.empty()) {
    const auto [value, region] = open.top();
    open.pop();
    if (value > level[region]) continue;
    for (const RegionIndex t : r.touching[region]) offer(t, value + (r.closed(t) ? 1 : 0));
  }
  return level;
}

// Passable stations that resin reaches once the closed regions that pass `opened` are open.
ByStation<char> reached_when(const Regions& r, const std::vector<StationIndex>& openings,
                             const std::function<bool(RegionIndex)>& opened) {
  ByRegion<char> seen(r.closed_by.size(), 0);
  std::vector<RegionIndex> stack;
  const auto visit = [&](RegionIndex region) {
    if (seen[region] || (r.closed(region) && !opened(region))) return;
    seen[region] = 1;
    stack.push_back(region);
  };
  for (const StationIndex n : openings) visit(r.of[n]);
  while (!stack.empty()) {
    const RegionIndex region = stack.back();
    stack.pop_back();
    for (const RegionIndex t : r.touching[region]) visit(t);
  }
  ByStation<char> reached(r.of.size(), 0);
  for (const StationIndex n : reached.indices()) reached[n] = seen[r.of[n]] && !r.closed(r.of[n]);
  return reached;
}

// All regions to which the way leads through the start: passable ones it opens on, and whatever lies deeper.
void gather_behind(const Regions& r, const ByRegion<int>& level, RegionIndex start,
                   std::set<RegionIndex>& all) {
  std::vector<RegionIndex> stack{start};
  while (!stack.empty()) {
    const RegionIndex region = stack.back();
    stack.pop_back();
    for (const RegionIndex t : r.touching[region]) {
      const bool opens = r.closed(region) && !r.closed(t) && level[t] == level[region];
      if (level[t] == kNever || (!opens && level[t] <= level[region]) || !all.insert(t).second) continue;
      stack.push_back(t);
    }
  }
}

Blocked blocked_by(const Regions& r, const ByRegion<int>& level, const std::vector<StationIndex>& openings,
                   ChannelIndex channel) {
  Blocked b;
  b.channel = channel;
  int nearest = kNever;
  std::set<RegionIndex> all;
  for (const RegionIndex region : r.closed_by.indices()) {
    if (r.closed_by[region] != channel) continue;
    b.own.insert(b.own.end(), r.stations[region].begin(), r.stations[region].end());
    nearest = std::min(nearest, level[region]);
    gather_behind(r, level, region, all);
  }
  std::sort(b.own.begin(), b.own.end());
  b.before = nearest == kNever ? 0 : nearest - 1;
  const auto nearer = [&](RegionIndex region) { return level[region] < nearest; };
  const ByStation<char> without = reached_when(r, openings, nearer);
  const ByStation<char> with = reached_when(
      r, openings, [&](RegionIndex region) { return nearer(region) || r.closed_by[region] == channel; });
  for (const StationIndex n : with.indices()) {
    if (with[n] && !without[n]) b.next.push_back(n);
  }
  // A place may lie behind two stretches of this channel and, by another way, behind one of another: it is
  // freed here though fewer crossings lead there elsewhere.
  std::set<StationIndex> behind(b.next.begin(), b.next.end());
  for (const RegionIndex t : all) {
    if (r.closed_by[t] != channel) behind.insert(r.stations[t].begin(), r.stations[t].end());
  }
  b.behind.assign(behind.begin(), behind.end());
  return b;
}

}  // namespace

ByStation<double> widest_paths(std::size_t stations, const std::vector<WidthLink>& links,
                               const std::vector<StationIndex>& sources,
                               const ByStation<double>& station_width_mm) {
  constexpr double kInfinity = std::numeric_limits<double>::infinity();
  const Neighbours next = neighbours_of(stations, links);
  const auto limit = [&](StationIndex n) {
    return station_width_mm.empty() ? kInfinity : station_width_mm[n];
  };
  ByStation<double> widest(stations, 0.0);
  std::priority_queue<std::pair<double, StationIndex>> open;
  for (const StationIndex s : sources) {
    widest[s] = limit(s);
    open.emplace(widest[s], s);
  }
  while (!open.empty()) {
    const auto [width, n] = open.top();
    open.pop();
    if (width < widest[n]) continue;
    for (const auto& [m, link] : next[n]) {
      const double through = std::min({width, link, limit(m)});
      if (through <= widest[m]) continue;
      widest[m] = through;
      open.emplace(through, m);
    }
  }
  return widest;
}

ReachResult stranded_behind(const std::vector<WidthLink>& links, const std::vector<StationIndex>& openings,
                            const ByStation<ChannelIndex>& closed_by, std::size_t channels) {
  const Regions r = regions_of(neighbours_of(closed_by.size(), links), closed_by);
  const ByRegion<int> level = levels_of(r, openings);
  ReachResult result;
  result.reached.resize(closed_by.size());
  for (const StationIndex n : result.reached.indices()) result.reached[n] = level[r.of[n]] == 0;
  for (std::size_t c = 0; c < channels; ++c)
    result.blocked.push_back(blocked_by(r, level, openings, ChannelIndex(c)));
  return result;
}

}  // namespace interstice::channels
