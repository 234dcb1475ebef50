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

using Neighbours = std::vector<std::vector<std::pair<std::size_t, double>>>;

Neighbours neighbours_of(std::size_t nodes, const std::vector<WidthLink>& links) {
  Neighbours out(nodes);
  for (const WidthLink& l : links) {
    out[l.a].emplace_back(l.b, l.width_mm);
    out[l.b].emplace_back(l.a, l.width_mm);
  }
  return out;
}

// Regions: every connected stretch of passable nodes, and every connected stretch of one closed group.
struct Regions {
  std::vector<std::size_t> of;     // node -> region
  std::vector<std::size_t> group;  // region -> group, or kPassable
  std::vector<std::set<std::size_t>> touching;
  std::vector<std::vector<std::size_t>> nodes;

  bool closed(std::size_t region) const { return group[region] != kPassable; }
};

Regions regions_of(const Neighbours& next, const std::vector<std::size_t>& group) {
  Regions r;
  r.of.assign(group.size(), kPassable);
  for (std::size_t start = 0; start < group.size(); ++start) {
    if (r.of[start] != kPassable) continue;
    const std::size_t region = r.group.size();
    r.group.push_back(group[start]);
    std::vector<std::size_t> stack{start};
    r.of[start] = region;
    while (!stack.empty()) {
      const std::size_t n = stack.back();
      stack.pop_back();
      for (const auto& [m, width] : next[n]) {
        if (group[m] != group[start] || r.of[m] != kPassable) continue;
        r.of[m] = region;
        stack.push_back(m);
      }
    }
  }
  r.touching.resize(r.group.size());
  r.nodes.resize(r.group.size());
  for (std::size_t n = 0; n < group.size(); ++n) {
    r.nodes[r.of[n]].push_back(n);
    for (const auto& [m, width] : next[n]) {
      if (r.of[m] != r.of[n]) r.touching[r.of[n]].insert(r.of[m]);
    }
  }
  return r;
}

// Closed regions to cross until a region is reached, itself included.
std::vector<int> levels_of(const Regions& r, const std::vector<std::size_t>& openings) {
  std::vector<int> level(r.group.size(), kNever);
  using Entry = std::pair<int, std::size_t>;
  std::priority_queue<Entry, std::vector<Entry>, std::greater<>> open;
  const auto offer = [&](std::size_t region, int value) {
    if (value >= level[region]) return;
    level[region] = value;
    open.emplace(value, region);
  };
  for (const std::size_t n : openings) offer(r.of[n], r.closed(r.of[n]) ? 1 : 0);
  while (!open.empty()) {
    const auto [value, region] = open.top();
    open.pop();
    if (value > level[region]) continue;
    for (const std::size_t t : r.touching[region]) offer(t, value + (r.closed(t) ? 1 : 0));
  }
  return level;
}

// Passable nodes that resin reaches once the closed regions that pass `opened` are open.
std::vector<char> reached_when(const Regions& r, const std::vector<std::size_t>& openings,
                               const std::function<bool(std::size_t)>& opened) {
  std::vector<char> seen(r.group.size(), 0), nodes(r.of.size(), 0);
  std::vector<std::size_t> stack;
  const auto visit = [&](std::size_t region) {
    if (seen[region] || (r.closed(region) && !opened(region))) return;
    seen[region] = 1;
    stack.push_back(region);
  };
  for (const std::size_t n : openings) visit(r.of[n]);
  while (!stack.empty()) {
    const std::size_t region = stack.back();
    stack.pop_back();
    for (const std::size_t t : r.touching[region]) visit(t);
  }
  for (std::size_t n = 0; n < nodes.size(); ++n) nodes[n] = seen[r.of[n]] && !r.closed(r.of[n]);
  return nodes;
}

// All regions to which the way leads through the start: passable ones it opens on, and whatever lies deeper.
void gather_behind(const Regions& r, const std::vector<int>& level, std::size_t start,
                   std::set<std::size_t>& all) {
  std::vector<std::size_t> stack{start};
  while (!stack.empty()) {
    const std::size_t region = stack.back();
    stack.pop_back();
    for (const std::size_t t : r.touching[region]) {
      const bool opens = r.closed(region) && !r.closed(t) && level[t] == level[region];
      if (level[t] == kNever || (!opens && level[t] <= level[region]) || !all.insert(t).second) continue;
      stack.push_back(t);
    }
  }
}

Blocked blocked_by(const Regions& r, const std::vector<int>& level, const std::vector<std::size_t>& openings,
                   std::size_t group) {
  Blocked b;
  b.group = group;
  int nearest = kNever;
  std::set<std::size_t> all;
  for (std::size_t region = 0; region < r.group.size(); ++region) {
    if (r.group[region] != group) continue;
    b.own.insert(b.own.end(), r.nodes[region].begin(), r.nodes[region].end());
    nearest = std::min(nearest, level[region]);
    gather_behind(r, level, region, all);
  }
  std::sort(b.own.begin(), b.own.end());
  b.before = nearest == kNever ? 0 : nearest - 1;
  const auto nearer = [&](std::size_t region) { return level[region] < nearest; };
  const std::vector<char> without = reached_when(r, openings, nearer);
  const std::vector<char> with = reached_when(
      r, openings, [&](std::size_t region) { return nearer(region) || r.group[region] == group; });
  for (std::size_t n = 0; n < with.size(); ++n) {
    if (with[n] && !without[n]) b.next.push_back(n);
  }
  // A place may lie behind two stretches of this group and, by another way, behind one of another: it is
  // freed here though fewer crossings lead there elsewhere.
  std::set<std::size_t> behind(b.next.begin(), b.next.end());
  for (const std::size_t t : all) {
    if (r.group[t] != group) behind.insert(r.nodes[t].begin(), r.nodes[t].end());
  }
  b.behind.assign(behind.begin(), behind.end());
  return b;
}

}  // namespace

std::vector<double> widest_paths(std::size_t nodes, const std::vector<WidthLink>& links,
                                 const std::vector<std::size_t>& sources,
                                 const std::vector<double>& node_width_mm) {
  constexpr double kInfinity = std::numeric_limits<double>::infinity();
  const Neighbours next = neighbours_of(nodes, links);
  const auto limit = [&](std::size_t n) { return node_width_mm.empty() ? kInfinity : node_width_mm[n]; };
  std::vector<double> widest(nodes, 0.0);
  std::priority_queue<std::pair<double, std::size_t>> open;
  for (const std::size_t s : sources) {
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

ReachResult stranded_behind(std::size_t nodes, const std::vector<WidthLink>& links,
                            const std::vector<std::size_t>& openings, const std::vector<std::size_t>& group,
                            std::size_t groups) {
  const Regions r = regions_of(neighbours_of(nodes, links), group);
  const std::vector<int> level = levels_of(r, openings);
  ReachResult result;
  result.reached.resize(nodes);
  for (std::size_t n = 0; n < nodes; ++n) result.reached[n] = level[r.of[n]] == 0;
  for (std::size_t g = 0; g < groups; ++g) result.blocked.push_back(blocked_by(r, level, openings, g));
  return result;
}

}  // namespace interstice::channels
