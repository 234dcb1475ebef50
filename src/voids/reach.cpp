#include "voids/reach.h"

#include <algorithm>
#include <functional>
#include <limits>
#include <numeric>
#include <queue>
#include <set>
#include <utility>

namespace interstice {
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

// Regions: every connected stretch of passable nodes, and every closed group, is one region.
struct Regions {
  std::vector<std::size_t> of;  // node -> region; groups come first
  std::size_t count = 0;
  std::vector<std::set<std::size_t>> touching;
  std::vector<std::vector<std::size_t>> nodes;
};

Regions regions_of(const Neighbours& next, const std::vector<std::size_t>& group, std::size_t groups) {
  Regions r;
  r.of.assign(group.size(), kPassable);
  r.count = groups;
  for (std::size_t start = 0; start < group.size(); ++start) {
    if (group[start] != kPassable) {
      r.of[start] = group[start];
      continue;
    }
    if (r.of[start] != kPassable) continue;
    std::vector<std::size_t> stack{start};
    r.of[start] = r.count;
    while (!stack.empty()) {
      const std::size_t n = stack.back();
      stack.pop_back();
      for (const auto& [m, width] : next[n]) {
        if (group[m] != kPassable || r.of[m] != kPassable) continue;
        r.of[m] = r.count;
        stack.push_back(m);
      }
    }
    ++r.count;
  }
  r.touching.resize(r.count);
  r.nodes.resize(r.count);
  for (std::size_t n = 0; n < group.size(); ++n) {
    r.nodes[r.of[n]].push_back(n);
    for (const auto& [m, width] : next[n]) {
      if (r.of[m] != r.of[n]) r.touching[r.of[n]].insert(r.of[m]);
    }
  }
  return r;
}

// Closed groups to cross until a region is reached, itself included.
std::vector<int> levels_of(const Regions& r, const std::vector<std::size_t>& openings, std::size_t groups) {
  std::vector<int> level(r.count, kNever);
  std::priority_queue<std::pair<int, std::size_t>, std::vector<std::pair<int, std::size_t>>, std::greater<>>
      open;
  const auto offer = [&](std::size_t region, int value) {
    if (value >= level[region]) return;
    level[region] = value;
    open.emplace(value, region);
  };
  for (const std::size_t n : openings) offer(r.of[n], r.of[n] < groups ? 1 : 0);
  while (!open.empty()) {
    const auto [value, region] = open.top();
    open.pop();
    if (value > level[region]) continue;
    for (const std::size_t t : r.touching[region]) offer(t, value + (t < groups ? 1 : 0));
  }
  return level;
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

std::vector<std::size_t> maximum_spanning_forest(std::size_t nodes, const std::vector<WidthLink>& links) {
  std::vector<std::size_t> order(links.size()), parent(nodes), forest;
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::iota(parent.begin(), parent.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return links[a].width_mm > links[b].width_mm; });
  const auto root = [&](std::size_t n) {
    while (parent[n] != n) n = parent[n] = parent[parent[n]];
    return n;
  };
  for (const std::size_t l : order) {
    const std::size_t a = root(links[l].a), b = root(links[l].b);
    if (a == b) continue;
    parent[a] = b;
    forest.push_back(l);
  }
  return forest;
}

ReachResult stranded_behind(std::size_t nodes, const std::vector<WidthLink>& links,
                            const std::vector<std::size_t>& openings, const std::vector<std::size_t>& group,
                            std::size_t groups) {
  const Regions r = regions_of(neighbours_of(nodes, links), group, groups);
  const std::vector<int> level = levels_of(r, openings, groups);
  ReachResult result;
  result.reached.resize(nodes);
  for (std::size_t n = 0; n < nodes; ++n) result.reached[n] = level[r.of[n]] == 0;
  for (std::size_t g = 0; g < groups; ++g) {
    Blocked b;
    b.group = g;
    b.own = r.nodes[g];
    b.before = level[g] == kNever ? 0 : level[g] - 1;
    std::set<std::size_t> all;
    std::vector<std::size_t> stack{g};
    while (!stack.empty()) {
      const std::size_t region = stack.back();
      stack.pop_back();
      for (const std::size_t t : r.touching[region]) {
        // Behind a group lies what it is the way to; behind that, only what is further from the openings.
        const bool deeper =
            region < groups && t >= groups ? level[t] == level[region] : level[t] > level[region];
        if (!deeper || level[t] == kNever || !all.insert(t).second) continue;
        stack.push_back(t);
        if (region == g && t >= groups) b.next.insert(b.next.end(), r.nodes[t].begin(), r.nodes[t].end());
      }
    }
    for (const std::size_t t : all) b.behind.insert(b.behind.end(), r.nodes[t].begin(), r.nodes[t].end());
    std::sort(b.behind.begin(), b.behind.end());
    std::sort(b.next.begin(), b.next.end());
    result.blocked.push_back(std::move(b));
  }
  return result;
}

}  // namespace interstice
