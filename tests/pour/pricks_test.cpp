// Where the tape is pricked: on networks small enough to see the answer.
#include <gtest/gtest.h>

#include "pour/pour_parts.h"

namespace interstice {
namespace {

using channels::ByCell;
using channels::CellIndex;
using channels::StationIndex;
using Eigen::Vector3d;

// Stations of 2 mm along a line, each one cell; links and doorways between neighbours as given.
struct Drawn {
  seams::FitDocument fit;
  plan::Plan plan;
  channels::ChannelNetwork net;

  Drawn() {
    for (const char* label : {"A01", "A02", "B01"}) {
      plan.tiles.push_back({label, label[0] == 'A' ? 1 : 2, {}});
      seams::FitTile tile;
      tile.label = label;
      tile.ring = label[0] == 'A' ? 1 : 2;
      fit.tiles.push_back(tile);
    }
    fit.tiles[0].arris = {{-30, 0, 0}, {-2, 0, 0}, {-2, 0, 40}};
    fit.tiles[1].arris = {{30, 0, 0}, {2, 0, 0}, {2, 0, 40}};
    fit.tiles[2].arris = {{0, 0, 44}, {10, 0, 60}, {-10, 0, 60}};
    seams::FitSeam seam;
    seam.tiles = {"A01", "A02"};
    for (int k = 0; k <= 80; ++k)
      seam.samples.push_back({0.5 * k, 4, 0.05, {-2, 0, 0.5 * k}, {2, 0, 0.5 * k}});
    fit.seams.push_back(seam);
    channels::Channel channel;
    channel.tiles = {geometry::TileIndex(0), geometry::TileIndex(1)};
    channel.fit_seam = geometry::SeamIndex(0);
    net.channels.push_back(channel);
  }

  StationIndex add(const Vector3d& at, double width_mm, bool mouth) {
    channels::Station s;
    s.length_mm = 2;
    s.width_mm = width_mm;
    s.width_at_mm.fill(width_mm);
    s.mouth = at;
    s.map = {at.x(), at.z()};
    const StationIndex station = net.stations.push_back(s);
    channels::ChannelCell cell;
    cell.body.centre = at;
    cell.body.spread = Vector3d(1, 1, 1).asDiagonal() * (1.0 / 3);  // a box of 2 mm
    cell.volume_mm3 = 100;
    cell.station = station;
    if (mouth) cell.ports.push_back({cell.body, true});
    net.cells.cells.push_back(cell);
    return station;
  }
  static CellIndex cell_of(StationIndex station) { return CellIndex(station.value); }
  void join(StationIndex a, StationIndex b) {
    net.links.push_back({a, b, std::min(net.stations[a].width_mm, net.stations[b].width_mm)});
    channels::Doorway door{cell_of(a), cell_of(b), {}, 4};
    door.place.centre = (net.stations[a].mouth + net.stations[b].mouth) / 2;
    door.place.spread = Vector3d(0.3, 0.3, 0.3).asDiagonal() * 1.0;
    net.cells.doorways.push_back(door);
  }
  pour::PourScene scene() {
    net.cells.index_doorways();
    pour::PourScene out{fit, plan, net, 3.0, {}, {}, {}};
    out.reached.assign(net.stations.size(), 1);
    out.reached_cell.assign(net.stations.size(), 1);
    return out;
  }
};

// From the opening a narrow seam hangs down for ten stations and a wide one for five; another narrow one goes up.
TEST(Pricks, ADeadEndThatHangsDownIsPrickedAtItsLowerEnd) {
  Drawn d;
  const StationIndex top = d.add({0, 0, 30}, 4, true);
  StationIndex last = top;
  for (int k = 1; k <= 10; ++k) {
    const StationIndex next = d.add({0, 0, 30 - 2.0 * k}, 3.2, false);
    d.join(last, next);
    last = next;
  }
  const StationIndex lowest = last;
  for (const auto& [x, dz, width] : {std::tuple{10.0, -2.0, 6.0}, std::tuple{-10.0, 2.0, 3.2}}) {
    last = top;
    for (int k = 1; k <= 5; ++k) {
      const StationIndex next = d.add({x, 0, 30 + dz * k}, width, false);
      d.join(last, next);
      last = next;
    }
  }
  const pour::PourScene scene = d.scene();
  pour::PourStep step;
  step.fill.up = {0, 0, 1};
  step.fill.openings = {{d.cell_of(top), d.net.cells.cells[d.cell_of(top)].ports[0], 31, 9, 0}};
  const ByCell<double> part(d.net.stations.size(), 1.0);
  const pour::DeadEnds ends = pour::dead_ends(scene, step, part, 3.5);
  EXPECT_NEAR(ends.length_mm, 20, 1e-9);
  ASSERT_EQ(ends.pricks.size(), 1u);
  EXPECT_NEAR(ends.pricks[0].length_mm, 20, 1e-9);
  EXPECT_EQ(ends.pricks[0].map, d.net.stations[lowest].map);
  EXPECT_EQ(seams::place_words(*ends.pricks[0].place), "10 mm from its end at the rim");
  // A resin whose bubbles rise in all of them.
  EXPECT_TRUE(pour::dead_ends(scene, step, part, 3.0).pricks.empty());
  // Turned over, the arm that went up hangs down.
  step.fill.up = {0, 0, -1};
  EXPECT_NEAR(pour::dead_ends(scene, step, part, 3.5).length_mm, 10, 1e-9);
}

// Down one leg and up the other: without an opening over it the second leg keeps its air above the first's foot.
TEST(Pricks, APocketOfAirIsPrickedAtItsHighestMouth) {
  Drawn d;
  const StationIndex inlet = d.add({0, 0, 30}, 4, true);
  StationIndex last = inlet;
  for (int k = 1; k <= 5; ++k) {
    const StationIndex next = d.add({0, 0, 30 - 2.0 * k}, 4, false);
    d.join(last, next);
    last = next;
  }
  for (int k = 1; k <= 4; ++k) {
    const StationIndex next = d.add({4, 0, 20 + 2.0 * k}, 4, k == 4);
    d.join(last, next);
    last = next;
  }
  const StationIndex crown = last;
  const pour::PourScene scene = d.scene();
  const std::size_t n = d.net.stations.size();
  ByCell<char> may_open(n, 0);
  may_open[d.cell_of(inlet)] = 1;
  pour::PourStep step;
  step.fill = pour::pour_at(d.net.cells, ByCell<double>(n, 1.0), may_open, {0, 0, 1}, 0);
  ByCell<double> left(n);
  double air = 0;
  for (const CellIndex c : left.indices()) {
    left[c] = 1 - step.fill.filled[c];
    air += left[c] * d.net.cells.cells[c].volume_mm3;
  }
  ASSERT_GT(air, 250);  // most of the second leg
  const auto pricks = pour::pocket_pricks(scene, step, 50, left);
  ASSERT_EQ(pricks.size(), 1u);
  EXPECT_EQ(pricks[0].map, d.net.stations[crown].map);
  EXPECT_NEAR(pricks[0].volume_ml, air / 1000, 1e-9);
  EXPECT_EQ(seams::place_words(*pricks[0].place), "12 mm from its end at B01");
  for (const double l : left) EXPECT_NEAR(l, 0, 1e-9);
  // What one prick let out is not pricked for again, and a drop is not worth a hole.
  EXPECT_TRUE(pour::pocket_pricks(scene, step, 50, left).empty());
}

// Beside two filled stations lie a narrow one, another behind it, and a wide one behind that.
TEST(Pricks, ResinCreepsIntoWhatIsTooNarrowAndNotPastIt) {
  Drawn d;
  std::vector<StationIndex> s;
  for (const double width : {4.0, 4.0, 2.0, 2.5, 4.0}) {
    s.push_back(d.add({0, 0, 2.0 * static_cast<double>(s.size())}, width, false));
    if (s.size() > 1) d.join(s[s.size() - 2], s.back());
  }
  pour::PourScene scene = d.scene();
  scene.reached_cell = ByCell<char>({1, 1, 0, 0, 0});
  ByCell<char> crept(5, 0);
  const ByCell<double> part({1, 1, 0, 0, 0});
  EXPECT_NEAR(pour::creep_mm3(scene, part, crept), 200, 1e-9);
  EXPECT_EQ(crept, ByCell<char>({0, 0, 1, 1, 0}));
  EXPECT_EQ(pour::creep_mm3(scene, part, crept), 0);  // once
}

}  // namespace
}  // namespace interstice
