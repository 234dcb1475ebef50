// The search for few tilts, against geometry and against trying everything.
#include "pour/pour_search.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

namespace interstice {
namespace {

using channels::ByCell;
using channels::CellIndex;
using Eigen::Vector3d;

channels::CellGraph star(const std::vector<Vector3d>& arms, int cells) {
  channels::CellGraph g;
  const auto add = [&](const Vector3d& at, CellIndex from) {
    channels::ChannelCell cell;
    cell.body.centre = at;
    cell.volume_mm3 = 1;
    cell.ports.push_back({cell.body, true});
    const CellIndex id = g.cells.push_back(cell);
    if (id != from) {
      channels::Doorway d;
      d.a = from, d.b = id;
      d.place.centre = (g.cells[from].body.centre + at) / 2;
      g.doorways.push_back(d);
    }
    return id;
  };
  const CellIndex hub = add({0, 0, 0}, CellIndex(0));
  for (const Vector3d& arm : arms) {
    CellIndex at = hub;
    for (int k = 0; k < cells; ++k) at = add(g.cells[at].body.centre + arm, at);
  }
  g.index_doorways();
  return g;
}

std::size_t pours_needed(const channels::CellGraph& g, const std::vector<pour::Tilt>& candidates,
                         std::size_t beam = 100000) {
  pour::SearchOptions options;
  options.candidates = candidates;
  options.beam = beam;
  const ByCell<char> all(g.cells.size(), 1);
  const pour::PourSequence s = pour::search_pours(g, all, all, options);
  EXPECT_EQ(s.left_mm3, 0);
  return s.steps.size();
}

// Three blind arms rising at 45 degrees towards 0, 120 and 240 degrees, all open along their length. One pour
// fills them only if two arms do not rise: leaning the third up by t, the others rise by cos t - sin t / 2,
// so t must reach atan 2 = 63.4 degrees.
TEST(PourSearch, ThreeArmsNeedTwoPoursUnlessLeanedBeyond63Degrees) {
  const double s = std::sqrt(0.5), h = s * std::sqrt(3.0) / 2;
  const channels::CellGraph g = star({{s, 0, s}, {-s / 2, h, s}, {-s / 2, -h, s}}, 4);
  const auto up_to = [](double most) {
    std::vector<pour::Tilt> tilts;
    for (const pour::Tilt& t : pour::tilt_grid({0, 60, 120, 180, 240, 300}, 10)) {
      if (t.tilt_deg <= most) tilts.push_back(t);
    }
    return tilts;
  };
  EXPECT_EQ(pours_needed(g, up_to(60)), 2u);
  EXPECT_EQ(pours_needed(g, up_to(70)), 1u);
}

TEST(PourSearch, TwoArmsOfAVeeAreFilledAtOnceWhenOneLiesLevel) {
  const double s = std::sqrt(0.5);
  const channels::CellGraph g = star({{s, 0, s}, {-s, 0, s}}, 5);
  EXPECT_EQ(pours_needed(g, {{0, 0}, {30, 0}}), 2u);
  EXPECT_EQ(pours_needed(g, {{0, 0}, {45, 0}}), 1u);
}

// Fewest pours by trying every sequence.
std::size_t fewest(const channels::CellGraph& g, const ByCell<char>& may_open,
                   const std::vector<pour::Tilt>& candidates, std::size_t most) {
  std::size_t best = most + 1;
  const std::function<void(ByCell<double>, std::size_t)> go = [&](ByCell<double> remaining,
                                                                  std::size_t used) {
    double left = 0;
    for (const double r : remaining) left += r;
    if (left == 0) best = std::min(best, used);
    if (left == 0 || used + 1 >= best || used == most) return;
    for (const pour::Tilt& t : candidates) {
      const pour::Fill fill = pour::pour_at(g, remaining, may_open, t.up(), 0);
      ByCell<double> next = remaining;
      for (const CellIndex c : next.indices()) next[c] *= 1 - fill.filled[c];
      go(next, used + 1);
    }
  };
  go(ByCell<double>(g.cells.size(), 1.0), 0);
  return best;
}

TEST(PourSearch, FindsTheFewestPoursThatTryingEverythingFinds) {
  std::mt19937 random(21);
  std::uniform_real_distribution<double> place(-1, 1);
  const std::vector<pour::Tilt> candidates = pour::tilt_grid({0, 90, 180, 270}, 45);
  int many = 0;
  for (int trial = 0; trial < 40; ++trial) {
    std::vector<Vector3d> arms;
    for (int k = 0; k < 6; ++k)
      arms.push_back(Vector3d(place(random), place(random), place(random)).normalized());
    channels::CellGraph g = star(arms, 3);
    ByCell<char> may_open(g.cells.size());
    for (char& m : may_open) m = random() % 2;
    may_open[CellIndex(0)] = 1;
    const std::size_t best = fewest(g, may_open, candidates, 3);
    pour::SearchOptions options;
    options.candidates = candidates;
    options.beam = 100000;
    options.most_pours = 3;
    const pour::PourSequence found =
        pour::search_pours(g, ByCell<char>(g.cells.size(), 1), may_open, options);
    if (best <= 3) {
      EXPECT_EQ(found.left_mm3, 0);
      EXPECT_EQ(found.steps.size(), best);
      many += best >= 2;
    } else {
      EXPECT_GT(found.left_mm3, 0);
    }
  }
  EXPECT_GT(many, 5);  // otherwise the test shows nothing
}

TEST(PourSearch, RefinesBetweenTheCandidates) {
  const double s = std::sqrt(0.5);
  const channels::CellGraph g = star({{s, 0, s}, {-s, 0, s}}, 5);
  pour::SearchOptions options;
  options.candidates = {{40, 0}};
  options.most_pours = 1;
  const ByCell<char> all(g.cells.size(), 1);
  EXPECT_GT(pour::search_pours(g, all, all, options).left_mm3, 0);
  options.refine_tilt_deg = 5;  // 45 degrees lays the second arm level
  const pour::PourSequence refined = pour::search_pours(g, all, all, options);
  EXPECT_EQ(refined.left_mm3, 0);
  EXPECT_EQ(refined.steps[0].tilt.tilt_deg, 45);
}

TEST(PourSearch, DoesNotDependOnThreads) {
  const channels::CellGraph g = star({{0.6, 0, 0.8}, {-0.6, 0, 0.8}, {0, 0.6, 0.8}, {0, 0, -1}}, 6);
  pour::SearchOptions options;
  options.candidates = pour::tilt_grid({0, 45, 90, 135, 180, 225, 270, 315}, 15);
  const ByCell<char> all(g.cells.size(), 1);
  options.threads = 1;
  const pour::PourSequence one = pour::search_pours(g, all, all, options);
  options.threads = 3;
  const pour::PourSequence three = pour::search_pours(g, all, all, options);
  ASSERT_EQ(one.steps.size(), three.steps.size());
  EXPECT_EQ(one.remaining, three.remaining);
  for (std::size_t k = 0; k < one.steps.size(); ++k)
    EXPECT_EQ(one.steps[k].tilt.tilt_deg, three.steps[k].tilt.tilt_deg);
}

}  // namespace
}  // namespace interstice
