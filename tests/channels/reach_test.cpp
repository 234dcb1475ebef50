// Bottleneck paths and what too-tight places cut off.
#include "channels/reach.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include "channels/channel_network.h"

namespace interstice {
namespace {

using channels::ByStation;
using channels::ChannelIndex;
using channels::StationIndex;
constexpr double kInf = std::numeric_limits<double>::infinity();

channels::WidthLink link(std::size_t from, std::size_t to, double width_mm = 1) {
  return {StationIndex(from), StationIndex(to), width_mm};
}

std::vector<StationIndex> stations(const std::vector<std::size_t>& numbers) {
  std::vector<StationIndex> out;
  for (const std::size_t n : numbers) out.emplace_back(n);
  return out;
}

// All stations passable, but for these, each with the channel that closes it.
ByStation<ChannelIndex> closing(std::size_t n,
                                const std::vector<std::pair<std::size_t, std::size_t>>& closed) {
  ByStation<ChannelIndex> out(n, channels::kPassable);
  for (const auto& [station, channel] : closed) out[StationIndex(station)] = ChannelIndex(channel);
  return out;
}

// The project's own worked example; its answers follow by hand from T. C. Hu's statement (1961, "The maximum
// capacity route problem", Operations Research 9) that the bottlenecks of a maximum spanning tree are those
// of the graph. Stations I a b c d e f.
enum Named : std::size_t { I, a, b, c, d, e, f };
const std::vector<channels::WidthLink> kExample{
    link(I, a, 5.0), link(I, b, 2.0), link(a, b, 3.5), link(a, c, 1.2), link(b, c, 2.8),
    link(c, d, 4.0), link(b, d, 0.9), link(d, e, 1.5), link(c, e, 2.6), link(e, f, 0.4)};

TEST(WidestPaths, WorkedExample) {
  const ByStation<double> widest = channels::widest_paths(7, kExample, stations({I}));
  const ByStation<double> expected({kInf, 5.0, 3.5, 2.8, 2.8, 2.6, 0.4});
  EXPECT_EQ(widest, expected);
  std::vector<StationIndex> filled;  // at a smallest fill of 3 mm
  for (const StationIndex n : widest.indices()) {
    if (n.value != I && widest[n] >= 3.0) filled.push_back(n);
  }
  EXPECT_EQ(filled, stations({a, b}));
}

TEST(WidestPaths, EveryPathsBottleneckByBruteForce) {
  std::mt19937 random(11);
  for (int trial = 0; trial < 60; ++trial) {
    constexpr std::size_t n = 6;
    double w[n][n] = {};
    std::vector<channels::WidthLink> links;
    for (std::size_t x = 0; x < n; ++x) {
      for (std::size_t y = x + 1; y < n; ++y) {
        if (random() % 3 == 0) continue;
        w[x][y] = w[y][x] = static_cast<double>(1 + random() % 30);
        links.push_back(link(x, y, w[x][y]));
      }
    }
    std::vector<double> node(n);
    for (double& x : node) x = static_cast<double>(1 + random() % 30);
    const ByStation<double> widest = channels::widest_paths(n, links, stations({0}), ByStation<double>(node));
    for (std::size_t goal = 1; goal < n; ++goal) {
      std::vector<std::size_t> between;
      for (std::size_t m = 1; m < n; ++m) {
        if (m != goal) between.push_back(m);
      }
      double best = 0;
      do {  // every ordered choice of stops is a prefix of some permutation
        double path = node[0];
        std::size_t at = 0;
        for (std::size_t k = 0; k <= between.size(); ++k) {
          best = std::max(best, std::min({path, w[at][goal], node[goal]}));
          if (k == between.size()) break;
          path = std::min({path, w[at][between[k]], node[between[k]]});
          at = between[k];
        }
      } while (std::next_permutation(between.begin(), between.end()));
      EXPECT_EQ(widest[StationIndex(goal)], best);
    }
  }
}

// opening 0 - 1 - [2] - 3 - 4 - [5] - 6, brackets closed.
TEST(Stranded, InARow) {
  std::vector<channels::WidthLink> links;
  for (std::size_t n = 0; n < 6; ++n) links.push_back(link(n, n + 1));
  const channels::ReachResult r =
      channels::stranded_behind(links, stations({0}), closing(7, {{2, 0}, {5, 1}}), 2);
  EXPECT_EQ(r.reached, ByStation<char>({1, 1, 0, 0, 0, 0, 0}));
  EXPECT_EQ(r.blocked[ChannelIndex(0)].next, stations({3, 4}));
  EXPECT_EQ(r.blocked[ChannelIndex(0)].behind, stations({3, 4, 5, 6}));
  EXPECT_EQ(r.blocked[ChannelIndex(0)].before, 0);
  EXPECT_EQ(r.blocked[ChannelIndex(1)].next, stations({6}));
  EXPECT_EQ(r.blocked[ChannelIndex(1)].behind, stations({6}));
  EXPECT_EQ(r.blocked[ChannelIndex(1)].before, 1);
}

// A pocket 3 with two closed ways in, 1 and 2: either frees it. The other way round, a closed 4 between two
// reached places strands only itself.
TEST(Stranded, SideBySideAndBetweenReachedPlaces) {
  const std::vector<channels::WidthLink> links{link(0, 1), link(0, 2), link(1, 3), link(2, 3),
                                               link(0, 4), link(4, 5), link(0, 5)};
  const channels::ReachResult r =
      channels::stranded_behind(links, stations({0}), closing(6, {{1, 0}, {2, 1}, {4, 2}}), 3);
  EXPECT_EQ(r.blocked[ChannelIndex(0)].behind, stations({3}));
  EXPECT_EQ(r.blocked[ChannelIndex(1)].behind, stations({3}));
  EXPECT_TRUE(r.blocked[ChannelIndex(2)].behind.empty());
  EXPECT_EQ(r.blocked[ChannelIndex(2)].own, stations({4}));
}

TEST(Stranded, ClosedAtTheOpeningItself) {
  const channels::ReachResult r =
      channels::stranded_behind({link(0, 1), link(1, 2)}, stations({0}), closing(3, {{0, 0}}), 1);
  EXPECT_EQ(r.reached, ByStation<char>({0, 0, 0}));
  EXPECT_EQ(r.blocked[ChannelIndex(0)].behind, stations({1, 2}));
  EXPECT_EQ(r.blocked[ChannelIndex(0)].before, 0);
}

// Law: opening a group that has none before it reaches exactly what it is said to free.
TEST(Stranded, FreedIsWhatOpeningFrees) {
  std::mt19937 random(3);
  for (int trial = 0; trial < 300; ++trial) {
    const std::size_t n = 20, groups = 5;
    std::vector<channels::WidthLink> links;
    for (std::size_t k = 0; k < 28; ++k) links.push_back(link(random() % n, random() % n));
    ByStation<ChannelIndex> closed_by(n, channels::kPassable);
    for (std::size_t k = 0; k < 9; ++k)
      closed_by[StationIndex(1 + random() % (n - 1))] = ChannelIndex(random() % groups);
    const channels::ReachResult r = channels::stranded_behind(links, stations({0}), closed_by, groups);
    for (const channels::Blocked& blocked : r.blocked) {
      if (blocked.own.empty() || blocked.before > 0) continue;
      ByStation<ChannelIndex> opened = closed_by;
      for (const StationIndex s : blocked.own) opened[s] = channels::kPassable;
      const channels::ReachResult after = channels::stranded_behind(links, stations({0}), opened, groups);
      std::vector<StationIndex> gained;
      for (const StationIndex s : closed_by.indices()) {
        if (after.reached[s] && !r.reached[s] && closed_by[s] == channels::kPassable) gained.push_back(s);
      }
      EXPECT_EQ(gained, blocked.next);
    }
  }
}

// opening - [0] - P - [0] - Q - [1] - opening: one closing of group 1 keeps resin from Q, yet opening group
// 0, two stretches of one seam, frees Q as well: what is freed always counts as stranded.
TEST(Stranded, BehindTwoStretchesOfOneSeam) {
  const std::vector<channels::WidthLink> ring{link(0, 1), link(1, 2), link(2, 3),
                                              link(3, 4), link(4, 5), link(5, 0)};
  const channels::ReachResult r =
      channels::stranded_behind(ring, stations({0}), closing(6, {{1, 0}, {3, 0}, {5, 1}}), 2);
  EXPECT_EQ(r.blocked[ChannelIndex(0)].next, stations({2, 4}));
  EXPECT_EQ(r.blocked[ChannelIndex(0)].behind, stations({2, 4}));
  EXPECT_EQ(r.blocked[ChannelIndex(1)].next, stations({4}));
}

// A mouth of width 2.5 + |s - 10| / 10 is below 3 over exactly 10 mm, and over 2 (w - 2.5) 10 below any w,
// wherever the samples happen to fall.
TEST(TightLength, DoesNotDependOnWhereTheSamplesFall) {
  for (const double start : {0.0, 0.1, 0.23, 0.4}) {
    channels::Channel channel;
    for (double s = start; s < 21; s += 0.5) channel.mouth.push_back({s, 2.5 + std::abs(s - 10) / 10, 1});
    EXPECT_NEAR(channel.length_below_mm(3.0), 10.0, 1e-9) << start;
    EXPECT_NEAR(channel.length_below_mm(2.83), 6.6, 1e-9) << start;
    EXPECT_EQ(channel.length_below_mm(2.4), 0) << start;
  }
}

// A mouth that widens by g on either side of its narrowest place w is too tight over 2 (3 - w) / g. At the
// limit (w = 3) the mean over the half of a normal distribution that closes it is 2 sqrt(2 / pi) sd / g (the
// mean of a half-normal distribution); far below it the uncertainty changes nothing.
TEST(TightLength, IsExpectedOfASeamThatIsTooTight) {
  constexpr double kWidens = 0.05, kSd_mm = 0.06, kStep_mm = 0.01;
  const auto widening_from = [&](double narrowest_mm) {
    channels::Channel c;
    for (int i = -2000; i <= 2000; ++i)
      c.mouth.push_back({i * kStep_mm, narrowest_mm + kWidens * std::abs(i * kStep_mm)});
    return c;
  };
  const double half_normal_mm = 2 * std::sqrt(2 / std::numbers::pi) * kSd_mm / kWidens;
  EXPECT_NEAR(widening_from(3.0).expected_length_below_mm(3, kSd_mm), half_normal_mm, 0.02 * half_normal_mm);
  EXPECT_NEAR(widening_from(2.6).expected_length_below_mm(3, kSd_mm), 16, 0.01);
  EXPECT_NEAR(widening_from(2.6).expected_length_below_mm(3, 0), 16, 0.01);
  EXPECT_EQ(widening_from(3.5).expected_length_below_mm(3, kSd_mm), 0);  // it is not too tight
}

}  // namespace
}  // namespace interstice
