// The optimiser against brute force on plane scenes where every answer is exact.
#include "rework/corrections.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <random>
#include <set>

#include "edges/block_scene.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using testing::Scene;

double random_tenth(std::mt19937& random, int low, int high) {
  for (;;) {
    const int k = std::uniform_int_distribution<int>(low, high)(random);
    if (k != 30) return k / 10.0;  // just the smallest fill: on the fence
  }
}

// Is there a place for every piece of a row? Difference constraints, by Bellman and Ford.
struct Edge {
  std::size_t from, to;
  double length;  // position of `to` <= position of `from` + length
};
bool has_places(std::size_t count, const std::vector<Edge>& edges) {
  std::vector<double> x(count, 0);
  for (std::size_t round = 0; round <= count; ++round) {
    bool changed = false;
    for (const Edge& e : edges) {
      if (x[e.from] + e.length < x[e.to] - 1e-9) x[e.to] = x[e.from] + e.length, changed = true;
    }
    if (!changed) return true;
  }
  return false;
}

// Row of pieces: the last node is the bench, where untouched pieces stay.
bool row_feasible(const std::vector<double>& gaps, unsigned touched, double most_move, double most_sand) {
  const std::size_t n = gaps.size() + 1, bench = n;
  std::vector<Edge> edges;
  for (std::size_t i = 0; i < n; ++i) {
    const double most = touched >> i & 1u ? most_move : 0;
    edges.push_back({bench, i, most});
    edges.push_back({i, bench, most});
  }
  for (std::size_t i = 0; i + 1 < n; ++i) {
    const double sand = most_sand * ((touched >> i & 1u) + (touched >> (i + 1) & 1u));
    edges.push_back({i + 1, i, gaps[i] + sand - 3.0});              // not closer than the smallest fill
    edges.push_back({i, i + 1, std::max(gaps[i], 8.0) - gaps[i]});  // not farther than 8 mm
  }
  return has_places(n + 1, edges);
}

std::optional<int> fewest_in_row(const std::vector<double>& gaps, double most_move, double most_sand) {
  std::optional<int> best;
  for (unsigned s = 0; s < 1u << (gaps.size() + 1); ++s) {
    if (row_feasible(gaps, s, most_move, most_sand) && (!best || std::popcount(s) < *best))
      best = std::popcount(s);
  }
  return best;
}

TEST(CorrectionsBruteForce, fewest_pieces_of_a_row_by_moving) {
  std::mt19937 random(5);
  int solvable = 0;
  for (int trial = 0; trial < 40; ++trial) {
    std::vector<double> gaps;
    const int count = std::uniform_int_distribution<int>(1, 4)(random);
    for (int i = 0; i < count; ++i) gaps.push_back(random_tenth(random, 15, 55));
    Scene scene;
    scene.add_row(gaps);
    scene.measure();
    rework::CorrectionOptions options;
    options.max_move_mm = 1.5;
    options.max_turn_deg = 0;
    options.max_sand_mm = 0;
    const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
    const auto best = fewest_in_row(gaps, options.max_move_mm, 0);
    SCOPED_TRACE(::testing::PrintToString(gaps));
    EXPECT_EQ(best.has_value(), result.refused.empty());
    if (!best) continue;
    ++solvable;
    EXPECT_EQ(static_cast<int>(result.pieces_touched), *best);
    for (const auto& seam : result.seams) EXPECT_GE(seam.after_mm, std::min(3.0, seam.before_mm) - 1e-6);
  }
  EXPECT_GT(solvable, 15);
}

TEST(CorrectionsBruteForce, fewest_pieces_of_a_row_by_moving_and_sanding) {
  std::mt19937 random(6);
  int solvable = 0;
  for (int trial = 0; trial < 30; ++trial) {
    std::vector<double> gaps;
    const int count = std::uniform_int_distribution<int>(2, 5)(random);
    for (int i = 0; i < count; ++i) gaps.push_back(random_tenth(random, 12, 45));
    Scene scene;
    scene.add_row(gaps);
    scene.measure();
    rework::CorrectionOptions options;
    options.max_move_mm = 0.8;
    options.max_turn_deg = 0;
    options.max_sand_mm = 0.5;
    const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
    const auto best = fewest_in_row(gaps, options.max_move_mm, options.max_sand_mm);
    SCOPED_TRACE(::testing::PrintToString(gaps));
    EXPECT_EQ(best.has_value(), result.refused.empty());
    if (!best) continue;
    ++solvable;
    EXPECT_EQ(static_cast<int>(result.pieces_touched), *best);
  }
  EXPECT_GT(solvable, 10);
}

TEST(CorrectionsBruteForce, least_travel_among_the_fewest_pieces) {
  std::mt19937 random(7);
  for (int trial = 0; trial < 12; ++trial) {
    std::vector<double> gaps;
    for (int i = 0; i < 3; ++i) gaps.push_back(random_tenth(random, 20, 50));
    if (!fewest_in_row(gaps, 1.2, 0) || *fewest_in_row(gaps, 1.2, 0) == 0) continue;
    // Every place in tenths of every set of the fewest pieces.
    const int fewest = *fewest_in_row(gaps, 1.2, 0);
    double least = 1e9;
    for (unsigned s = 0; s < 16; ++s) {
      if (std::popcount(s) != fewest) continue;
      std::array<int, 4> x{};
      for (x[0] = s & 1 ? -12 : 0; x[0] <= (s & 1 ? 12 : 0); ++x[0])
        for (x[1] = s & 2 ? -12 : 0; x[1] <= (s & 2 ? 12 : 0); ++x[1])
          for (x[2] = s & 4 ? -12 : 0; x[2] <= (s & 4 ? 12 : 0); ++x[2])
            for (x[3] = s & 8 ? -12 : 0; x[3] <= (s & 8 ? 12 : 0); ++x[3]) {
              bool good = true;
              double travel = 0;
              for (std::size_t i = 0; i < 4; ++i) travel += std::abs(x[i]) / 10.0;
              for (std::size_t i = 0; i < 3; ++i) good &= gaps[i] + (x[i + 1] - x[i]) / 10.0 >= 3.0 - 1e-9;
              if (good) least = std::min(least, travel);
            }
    }
    Scene scene;
    scene.add_row(gaps);
    scene.measure();
    rework::CorrectionOptions options;
    options.max_move_mm = 1.2;
    options.max_turn_deg = 0;
    options.max_sand_mm = 0;
    const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
    SCOPED_TRACE(::testing::PrintToString(gaps));
    EXPECT_GE(result.movement_mm, least - 1e-6);
    EXPECT_LE(result.movement_mm, 1.05 * least + 0.11);
  }
}

// Six blocks in two courses, glued: seams between neighbours, each to be sanded from either side.
TEST(CorrectionsBruteForce, fewest_pieces_of_a_wall_by_sanding) {
  std::mt19937 random(8);
  for (int trial = 0; trial < 15; ++trial) {
    Scene scene;
    const double rise = random_tenth(random, 22, 45);
    std::array<double, 2> gap{random_tenth(random, 22, 45), random_tenth(random, 22, 45)};
    double along = 0;
    for (int column = 0; column < 3; ++column) {
      scene.add("A" + std::to_string(column), along, 0, 40, 40);
      scene.add("B" + std::to_string(column), along, 40 + rise + 0.3 * column, 40, 40);
      if (column < 2) along += 40 + gap[static_cast<std::size_t>(column)];
    }
    scene.measure();
    rework::CorrectionOptions options;
    options.glued = true;
    options.max_sand_mm = 0.5;
    options.seam_value.assign(scene.fit.seams.size(), 1.0);
    const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
    std::size_t given_up = 99, touched = 99;
    for (unsigned s = 0; s < 64; ++s) {
      std::size_t lost = 0;
      for (const seams::FitSeam& seam : scene.fit.seams) {
        double off = 0;
        for (const std::string& label : seam.tiles) {
          const auto place = std::find_if(scene.fit.tiles.begin(), scene.fit.tiles.end(),
                                          [&](const auto& t) { return t.label == label; });
          off += s >> (place - scene.fit.tiles.begin()) & 1 ? 0.5 : 0;
        }
        lost += *seam.narrowest_mm + off < 3.0 - 1e-9;
      }
      const auto count = static_cast<std::size_t>(std::popcount(s));
      if (lost < given_up || (lost == given_up && count < touched)) given_up = lost, touched = count;
    }
    SCOPED_TRACE(::testing::PrintToString(gap) + " " + std::to_string(rise));
    EXPECT_EQ(result.refused.size(), given_up);
    EXPECT_EQ(result.pieces_touched, touched);
  }
}

}  // namespace
}  // namespace interstice
