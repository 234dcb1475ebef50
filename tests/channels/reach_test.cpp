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

constexpr double kInf = std::numeric_limits<double>::infinity();

// The project's own worked example; its answers follow by hand from T. C. Hu's statement (1961, "The maximum
// capacity route problem", Operations Research 9) that the bottlenecks of a maximum spanning tree are those
// of the graph. Nodes I a b c d e f.
enum Node : std::size_t { I, a, b, c, d, e, f };
const std::vector<channels::WidthLink> kExample{{I, a, 5.0}, {I, b, 2.0}, {a, b, 3.5}, {a, c, 1.2},
                                                {b, c, 2.8}, {c, d, 4.0}, {b, d, 0.9}, {d, e, 1.5},
                                                {c, e, 2.6}, {e, f, 0.4}};

TEST(WidestPaths, WorkedExample) {
  const std::vector<double> widest = channels::widest_paths(7, kExample, {I});
  const std::vector<double> expected{kInf, 5.0, 3.5, 2.8, 2.8, 2.6, 0.4};
  EXPECT_EQ(widest, expected);
  std::vector<std::size_t> filled;  // at a smallest fill of 3 mm
  for (std::size_t n = 1; n < 7; ++n) {
    if (widest[n] >= 3.0) filled.push_back(n);
  }
  EXPECT_EQ(filled, (std::vector<std::size_t>{a, b}));
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
        links.push_back({x, y, w[x][y]});
      }
    }
    std::vector<double> node(n);
    for (double& x : node) x = static_cast<double>(1 + random() % 30);
    const std::vector<double> widest = channels::widest_paths(n, links, {0}, node);
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
      EXPECT_EQ(widest[goal], best);
    }
  }
}

// opening 0 - 1 - [2] - 3 - 4 - [5] - 6, brackets closed.
TEST(Stranded, InARow) {
  std::vector<channels::WidthLink> links;
  for (std::size_t n = 0; n < 6; ++n) links.push_back({n, n + 1, 1});
  std::vector<std::size_t> group(7, channels::kPassable);
  group[2] = 0, group[5] = 1;
  const channels::ReachResult r = channels::stranded_behind(7, links, {0}, group, 2);
  EXPECT_EQ(r.reached, (std::vector<char>{1, 1, 0, 0, 0, 0, 0}));
  EXPECT_EQ(r.blocked[0].next, (std::vector<std::size_t>{3, 4}));
  EXPECT_EQ(r.blocked[0].behind, (std::vector<std::size_t>{3, 4, 5, 6}));
  EXPECT_EQ(r.blocked[0].before, 0);
  EXPECT_EQ(r.blocked[1].next, (std::vector<std::size_t>{6}));
  EXPECT_EQ(r.blocked[1].behind, (std::vector<std::size_t>{6}));
  EXPECT_EQ(r.blocked[1].before, 1);
}

// A pocket 3 with two closed ways in, 1 and 2: either frees it. The other way round, a closed 4 between two
// reached places strands only itself.
TEST(Stranded, SideBySideAndBetweenReachedPlaces) {
  const std::vector<channels::WidthLink> links{{0, 1, 1}, {0, 2, 1}, {1, 3, 1}, {2, 3, 1},
                                               {0, 4, 1}, {4, 5, 1}, {0, 5, 1}};
  std::vector<std::size_t> group(6, channels::kPassable);
  group[1] = 0, group[2] = 1, group[4] = 2;
  const channels::ReachResult r = channels::stranded_behind(6, links, {0}, group, 3);
  EXPECT_EQ(r.blocked[0].behind, (std::vector<std::size_t>{3}));
  EXPECT_EQ(r.blocked[1].behind, (std::vector<std::size_t>{3}));
  EXPECT_TRUE(r.blocked[2].behind.empty());
  EXPECT_EQ(r.blocked[2].own, (std::vector<std::size_t>{4}));
}

TEST(Stranded, ClosedAtTheOpeningItself) {
  const channels::ReachResult r = channels::stranded_behind(3, {{0, 1, 1}, {1, 2, 1}}, {0},
                                                            {0, channels::kPassable, channels::kPassable}, 1);
  EXPECT_EQ(r.reached, (std::vector<char>{0, 0, 0}));
  EXPECT_EQ(r.blocked[0].behind, (std::vector<std::size_t>{1, 2}));
  EXPECT_EQ(r.blocked[0].before, 0);
}

// Law: opening a group that has none before it reaches exactly what it is said to free.
TEST(Stranded, FreedIsWhatOpeningFrees) {
  std::mt19937 random(3);
  for (int trial = 0; trial < 300; ++trial) {
    const std::size_t n = 20, groups = 5;
    std::vector<channels::WidthLink> links;
    for (std::size_t k = 0; k < 28; ++k) links.push_back({random() % n, random() % n, 1});
    std::vector<std::size_t> group(n, channels::kPassable);
    for (std::size_t k = 0; k < 9; ++k) group[1 + random() % (n - 1)] = random() % groups;
    const channels::ReachResult r = channels::stranded_behind(n, links, {0}, group, groups);
    for (const channels::Blocked& blocked : r.blocked) {
      if (blocked.own.empty() || blocked.before > 0) continue;
      std::vector<std::size_t> opened = group;
      for (const std::size_t s : blocked.own) opened[s] = channels::kPassable;
      const channels::ReachResult after = channels::stranded_behind(n, links, {0}, opened, groups);
      std::vector<std::size_t> gained;
      for (std::size_t s = 0; s < n; ++s) {
        if (after.reached[s] && !r.reached[s] && group[s] == channels::kPassable) gained.push_back(s);
      }
      EXPECT_EQ(gained, blocked.next);
    }
  }
}

// opening - [0] - P - [0] - Q - [1] - opening: one closing of group 1 keeps resin from Q, yet opening group
// 0, two stretches of one seam, frees Q as well: what is freed always counts as stranded.
TEST(Stranded, BehindTwoStretchesOfOneSeam) {
  const std::vector<channels::WidthLink> ring{{0, 1, 1.0}, {1, 2, 1.0}, {2, 3, 1.0},
                                              {3, 4, 1.0}, {4, 5, 1.0}, {5, 0, 1.0}};
  const std::vector<std::size_t> group{channels::kPassable, 0, channels::kPassable, 0,
                                       channels::kPassable, 1};
  const channels::ReachResult r = channels::stranded_behind(6, ring, {0}, group, 2);
  EXPECT_EQ(r.blocked[0].next, (std::vector<std::size_t>{2, 4}));
  EXPECT_EQ(r.blocked[0].behind, (std::vector<std::size_t>{2, 4}));
  EXPECT_EQ(r.blocked[1].next, (std::vector<std::size_t>{4}));
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
