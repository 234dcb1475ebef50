// How wide a path leads from an opening to each place, and what each too-tight place cuts off.
//
// Bottleneck paths: the width of a path is its narrowest link; the widest path maximises it (M. Pollack 1960,
// "The maximum capacity through a network").
// mm.
#pragma once

#include <cstddef>
#include <vector>

namespace interstice::channels {

struct WidthLink {
  std::size_t a = 0, b = 0;
  double width_mm = 0;
};

// Widest path from any source to every node; infinity at sources, 0 where nothing leads. node_width limits
// every path through (and into) a node; sources are limited by their own width too. Empty node_width: no
// limit.
std::vector<double> widest_paths(std::size_t nodes, const std::vector<WidthLink>& links,
                                 const std::vector<std::size_t>& sources,
                                 const std::vector<double>& node_width_mm = {});

// What lies behind groups of closed nodes. group[i] is the group of node i if it is closed (too tight),
// kPassable if resin passes. Levels count how many closed groups must be crossed from an opening.
inline constexpr std::size_t kPassable = static_cast<std::size_t>(-1);

struct Blocked {
  std::size_t group = 0;
  std::vector<std::size_t> own;  // the closed nodes themselves
  std::vector<std::size_t>
      next;  // passable nodes that opening this group would free (once those before it are)
  std::vector<std::size_t> behind;  // next, and all that lies further behind through more closed groups
  int before = 0;  // closed groups that must be opened first; 0: it borders what resin reaches
};

struct ReachResult {
  std::vector<char> reached;     // resin gets to this node
  std::vector<Blocked> blocked;  // by group number
};

ReachResult stranded_behind(std::size_t nodes, const std::vector<WidthLink>& links,
                            const std::vector<std::size_t>& openings, const std::vector<std::size_t>& group,
                            std::size_t groups);

}  // namespace interstice::channels
