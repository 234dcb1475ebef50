// Trapped air: published check grids, a labyrinth with a known answer, and laws.
#include "pour/air.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <numbers>
#include <random>

namespace interstice {
namespace {

using channels::ByCell;
using channels::CellIndex;
using Eigen::Vector3d;
constexpr double kInf = std::numeric_limits<double>::infinity();

// A grid of heights as a pond problem, turned upside down: air instead of water, so heights are negated; the
// border cells vent at their own height.
double pond_volume(const std::vector<std::string>& rows, bool diagonals) {
  channels::CellGraph g;
  const auto h = static_cast<long>(rows.size()), w = static_cast<long>(rows[0].size());
  const auto height = [&](long i, long j) {
    return static_cast<double>(rows[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)] - '0');
  };
  ByCell<double> vents;
  for (long i = 0; i < h; ++i) {
    for (long j = 0; j < w; ++j) {
      channels::ChannelCell cell;
      cell.body.centre = {static_cast<double>(j), static_cast<double>(i), -height(i, j)};
      g.cells.push_back(cell);
      vents.push_back(i == 0 || j == 0 || i == h - 1 || j == w - 1 ? -height(i, j) : -kInf);
    }
  }
  const auto join = [&](long i, long j, long x, long y) {
    if (x < 0 || y < 0 || x >= h || y >= w) return;
    channels::Doorway d;
    d.a = CellIndex(static_cast<std::size_t>(i * w + j)),
    d.b = CellIndex(static_cast<std::size_t>(x * w + y));
    d.place.centre = {0, 0, std::min(-height(i, j), -height(x, y))};
    g.doorways.push_back(d);
  };
  for (long i = 0; i < h; ++i) {
    for (long j = 0; j < w; ++j) {
      join(i, j, i + 1, j), join(i, j, i, j + 1);
      if (diagonals) join(i, j, i + 1, j + 1), join(i, j, i + 1, j - 1);
    }
  }
  g.index_doorways();
  const ByCell<double> escape =
      pour::escape_levels(g, ByCell<char>(g.cells.size(), 1), Vector3d::UnitZ(), vents);
  double volume = 0;
  for (const CellIndex c : g.cells.indices()) volume += g.cells[c].body.centre.z() - escape[c];
  return volume;
}

// Priority-flood after Barnes, Lehman, Mulla 2014 (doi 10.1016/j.cageo.2013.04.024); the grids are a
// widespread exercise ("trapping rain water" on a map), values recomputed. Diagonal leaks drain the first
// grid.
TEST(PriorityFlood, CheckGrids) {
  EXPECT_DOUBLE_EQ(pond_volume({"143132", "321324", "233231"}, false), 4);
  EXPECT_DOUBLE_EQ(pond_volume({"33333", "32223", "32123", "32223", "33333"}, false), 10);
  EXPECT_DOUBLE_EQ(pond_volume({"143132", "321324", "233231"}, true), 0);
  EXPECT_DOUBLE_EQ(pond_volume({"33333", "32223", "32123", "32223", "33333"}, true), 10);
}

// Volume below a sill = sill x cells - sum of heights (Fill-Spill-Merge, Barnes et al. 2021, doi
// 10.5194/esurf-9-105-2021, and its tests): (cells, sill, sum) (2, 5, 10) -> 0, (3, 5, 10) -> 5, (4, 5, 10)
// -> 10.
TEST(PriorityFlood, SillVolumes) {
  for (const auto& [inside, expected] :
       {std::pair("55", 0.0), std::pair("343", 5.0), std::pair("2323", 10.0)}) {
    const std::string wall(std::string(inside).size() + 2, '5');
    EXPECT_DOUBLE_EQ(pond_volume({wall, "5" + std::string(inside) + "5", wall}, false), expected) << inside;
  }
}

// A labyrinth of unit cells that branches and never loops: so its answer can be read off each cell's one way
// out.
struct Labyrinth {
  channels::CellGraph graph;
  ByCell<CellIndex> parent;

  CellIndex add(const Vector3d& at, CellIndex from) {
    channels::ChannelCell cell;
    cell.body.centre = at;
    cell.volume_mm3 = 1;
    const CellIndex id = graph.cells.push_back(cell);
    parent.push_back(from);
    if (id != from) {
      channels::Doorway d;
      d.a = from, d.b = id;
      d.place.centre = (graph.cells[from].body.centre + at) / 2;
      graph.doorways.push_back(d);
    }
    return id;
  }
  CellIndex run(CellIndex from, const Vector3d& step, int cells) {
    for (int k = 0; k < cells; ++k) from = add(graph.cells[from].body.centre + step, from);
    return from;
  }
};

// An opening at the origin, a shaft, and dead ends by construction: chimneys, sumps, traps behind bends.
Labyrinth built_labyrinth() {
  const Vector3d x(1, 0, 0), y(0, 1, 0), z(0, 0, 1);
  Labyrinth l;
  const CellIndex mouth = l.add({0, 0, 0}, CellIndex(0));
  l.graph.cells[mouth].ports.push_back({channels::Lump{}, true});
  const CellIndex shaft = l.run(mouth, -z, 6);
  l.run(shaft, x, 5);
  const CellIndex chimney_foot = l.run(shaft, y, 3);
  l.run(chimney_foot, z, 4);
  const CellIndex bend = l.run(chimney_foot, -z, 2);
  l.run(l.run(bend, y, 2), z, 5);
  const CellIndex third(3);
  l.run(third, -x, 4);
  l.run(l.run(third, -y, 2), -z, 3);
  l.run(l.run(l.run(third, (x + y).normalized(), 3), z, 2), x, 3);
  l.graph.index_doorways();
  return l;
}

double filled_volume(const pour::Fill& fill) {
  double sum = 0;
  for (const double f : fill.filled) sum += f;
  return sum;
}

TEST(Labyrinth, UprightByHand) {
  const Labyrinth l = built_labyrinth();
  const ByCell<double> all(l.graph.cells.size(), 1.0);
  const pour::Fill fill = pour::pour_at(l.graph, all, ByCell<char>(all.size(), 1), Vector3d::UnitZ(), 0);
  // Chimney: 4 cells rise from its foot, and behind the bend 5 rise; 2 rise and 3 run level above their bend
  // in the last branch. All else drains upwards.
  EXPECT_DOUBLE_EQ(filled_volume(fill), static_cast<double>(l.graph.cells.size()) - (4 + 5 + 2 + 3));
  EXPECT_DOUBLE_EQ(fill.left_mm3, 14);
}

TEST(Labyrinth, TenTiltsExactly) {
  const Labyrinth l = built_labyrinth();
  const std::size_t n = l.graph.cells.size();
  const double tilts[10][2] = {{0, 0},   {20, 10},   {35, 100},  {50, 200}, {65, 300},
                               {80, 45}, {100, 150}, {120, 250}, {150, 20}, {180, 0}};
  for (const auto& [tilt, azimuth] : tilts) {
    const double t = tilt * std::numbers::pi / 180, a = azimuth * std::numbers::pi / 180;
    const Vector3d up(std::sin(t) * std::cos(a), std::sin(t) * std::sin(a), std::cos(t));
    const pour::Fill fill = pour::pour_at(l.graph, ByCell<double>(n, 1.0), ByCell<char>(n, 1), up, 0);
    for (const CellIndex c : l.graph.cells.indices()) {
      // By construction: filled if it lies below the opening, no doorway on its way out is above the opening,
      // and none is below the cell itself.
      const double own = l.graph.cells[c].body.centre.dot(up);
      double lowest = kInf, highest = -kInf;
      for (CellIndex k = c; k != l.parent[k]; k = l.parent[k]) {
        const double door =
            (l.graph.cells[k].body.centre + l.graph.cells[l.parent[k]].body.centre).dot(up) / 2;
        lowest = std::min(lowest, door);
        highest = std::max(highest, door);
      }
      const double level = 0;  // of the opening, whatever the tilt
      const bool filled = own <= level + 1e-9 && highest <= level + 1e-9 && own <= lowest + 1e-9;
      EXPECT_EQ(fill.filled[c], filled ? 1.0 : 0.0)
          << "cell " << c.value << " at tilt " << tilt << ", " << azimuth;
    }
  }
}

// A chimney's top that is an end of the shell lets its air out until resin shows there; a taped mouth does
// not.
TEST(Labyrinth, EndsOfTheShellAreVents) {
  Labyrinth l;
  const CellIndex mouth = l.add({0, 0, 0}, CellIndex(0));
  l.graph.cells[mouth].ports.push_back({channels::Lump{}, true});
  const CellIndex top = l.run(l.run(l.run(mouth, {0, 0, -1}, 6), {1, 0, 0}, 3), {0, 0, 1}, 4);
  l.graph.index_doorways();
  const std::size_t n = l.graph.cells.size();
  const ByCell<double> all(n, 1.0);
  l.graph.cells[top].ports.push_back({l.graph.cells[top].body, true});
  const pour::Fill taped = pour::pour_at(l.graph, all, ByCell<char>(n, 1), Vector3d::UnitZ(), 0);
  EXPECT_EQ(taped.left_mm3, 4);
  EXPECT_TRUE(taped.vents.empty());
  l.graph.cells[top].ports[0].mouth = false;
  const pour::Fill open = pour::pour_at(l.graph, all, ByCell<char>(n, 1), Vector3d::UnitZ(), 0);
  EXPECT_EQ(open.left_mm3, 0);
  EXPECT_EQ(open.vents, (std::vector<CellIndex>{top}));
}

// With loops: raise the level doorway by doorway and see which cells still touch the open air.
TEST(EscapeLevels, EqualsARisingLevelInMazesWithLoops) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> place(-10, 10);
  for (int trial = 0; trial < 100; ++trial) {
    channels::CellGraph g;
    constexpr std::size_t n = 14;
    for (std::size_t c = 0; c < n; ++c) {
      channels::ChannelCell cell;
      cell.body.centre = {place(random), place(random), place(random)};
      g.cells.push_back(cell);
    }
    for (int k = 0; k < 22; ++k) {
      channels::Doorway d;
      d.a = CellIndex(random() % n), d.b = CellIndex(random() % n);
      d.place.centre = {0, 0, place(random)};
      if (d.a != d.b) g.doorways.push_back(d);
    }
    g.index_doorways();
    ByCell<double> vents(n, -kInf);
    vents[CellIndex(0)] = 5;
    const ByCell<double> escape = pour::escape_levels(g, ByCell<char>(n, 1), Vector3d::UnitZ(), vents);
    for (double level = -11; level < 11; level += 0.37) {
      ByCell<char> airy(n, 0);
      airy[CellIndex(0)] = level < 5;
      for (std::size_t round = 0; round < n; ++round) {
        for (const channels::Doorway& d : g.doorways) {
          if (d.place.centre.z() > level && (airy[d.a] || airy[d.b])) airy[d.a] = airy[d.b] = 1;
        }
      }
      for (const CellIndex c : airy.indices()) EXPECT_EQ(airy[c] != 0, level < escape[c]);
    }
  }
}

TEST(Lump, BoxReachesHalfItsEdge) {
  // Points spread evenly over a box 2 x 4 x 6: variance of an edge e is e^2 / 12.
  channels::Lump box;
  box.spread = Vector3d(4.0 / 12, 16.0 / 12, 36.0 / 12).asDiagonal();
  EXPECT_NEAR(box.half_height(Vector3d::UnitX()), 1, 1e-12);
  EXPECT_NEAR(box.half_height(Vector3d::UnitY()), 2, 1e-12);
  EXPECT_NEAR(box.half_height(Vector3d::UnitZ()), 3, 1e-12);
  EXPECT_NEAR(pour::fraction_below(box, Vector3d::UnitZ(), 1.5), 0.75, 1e-12);
}

// Law: turning bowl and gravity together changes nothing.
TEST(PourAt, TurnsWithTheBowl) {
  Labyrinth l = built_labyrinth();
  const std::size_t n = l.graph.cells.size();
  const ByCell<double> all(n, 1.0);
  const ByCell<char> may(n, 1);
  const Vector3d up = Vector3d(0.3, -0.5, 0.7).normalized();
  const pour::Fill before = pour::pour_at(l.graph, all, may, up, 0);
  Eigen::Matrix3d turn;
  turn << 0, -1, 0, 1, 0, 0, 0, 0, 1;
  for (channels::ChannelCell& c : l.graph.cells) c.body.centre = turn * c.body.centre;
  for (channels::Doorway& d : l.graph.doorways) d.place.centre = turn * d.place.centre;
  EXPECT_EQ(pour::pour_at(l.graph, all, may, turn * up, 0).filled, before.filled);
}

}  // namespace
}  // namespace interstice
