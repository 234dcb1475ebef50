// Moves and sanding against closed forms on a sphere and a flat form, and the solver against enumeration.
#include "rework/correction_motion.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>

#include "rework/milp.h"

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kRad = std::numbers::pi / 180.0;
constexpr double kRadius = 110, kThickness = 14;

geometry::Profile sphere() {
  std::vector<Vector2d> meridian;
  for (int i = 0; i <= 360; ++i)
    meridian.emplace_back(kRadius * std::sin(i * kRad / 4), kRadius * std::cos(i * kRad / 4));
  return geometry::Profile(meridian);
}

TEST(Motion, sliding_on_a_sphere_turns_about_its_centre) {
  const geometry::Profile form = sphere();
  for (const double polar : {15.0, 45.0, 80.0}) {
    const Vector3d n(std::sin(polar * kRad), 0, std::cos(polar * kRad));
    const Vector3d centroid = (kRadius + kThickness) * n;
    const Isometry3d up = rework::motion_of({0, 2.5, 0}, form, centroid, n);
    // Towards the pole in the vertical plane; 2.5 mm square to the form is (R + t) sin(angle).
    const double angle = std::asin(2.5 / (kRadius + kThickness));
    const Isometry3d wanted(Eigen::AngleAxisd(-angle, Vector3d::UnitY()));
    EXPECT_NEAR((up.matrix() - wanted.matrix()).norm(), 0, 2e-4);
    EXPECT_NEAR((up * centroid - wanted * centroid).norm(), 0, 1e-3);
    const Isometry3d along = rework::motion_of({2.5, 0, 0}, form, centroid, n);
    EXPECT_NEAR((along * centroid - centroid).y(), 2.5, 1e-6);
    EXPECT_NEAR((along * centroid).norm(), kRadius + kThickness, 1e-3);
    // Not turned about the form's normal: the direction of travel turns about the axis square to both
    // normals.
    const Vector3d axis = n.cross(Vector3d::UnitY());
    EXPECT_NEAR((along.linear() * axis - axis).norm(), 0, 1e-4);
  }
}

TEST(Motion, turning_is_about_the_centroid_and_counter_clockwise_from_outside) {
  const Vector3d centroid(0, 0, kRadius + kThickness);
  const Isometry3d turn = rework::motion_of({0, 0, 3}, sphere(), centroid, Vector3d::UnitZ());
  EXPECT_NEAR((turn * centroid - centroid).norm(), 0, 1e-12);
  const Vector3d p = turn * (centroid + Vector3d(20, 0, 0)) - centroid;
  EXPECT_NEAR(p.x(), 20 * std::cos(3 * kRad), 1e-12);
  EXPECT_NEAR(p.y(), 20 * std::sin(3 * kRad), 1e-12);
}

TEST(Motion, turning_does_not_change_where_the_centroid_goes) {
  const geometry::Profile form = sphere();
  const Vector3d n = Vector3d(0.6, 0.3, 0.7).normalized(), centroid = (kRadius + kThickness) * n;
  const Vector3d slid = rework::motion_of({2.5, -1.5, 0}, form, centroid, n) * centroid;
  EXPECT_NEAR((rework::motion_of({2.5, -1.5, 3}, form, centroid, n) * centroid - slid).norm(), 0, 1e-12);
}

TEST(Motion, works_at_the_pole) {
  const Vector3d centroid(0, 0, kRadius + kThickness);
  const Isometry3d m = rework::motion_of({1.5, -2, 0}, sphere(), centroid, Vector3d::UnitZ());
  EXPECT_TRUE(m.matrix().allFinite());
  EXPECT_NEAR((m * centroid - centroid).head<2>().norm(), 2.5, 1e-6);
  EXPECT_NEAR((m * centroid).norm(), kRadius + kThickness, 1e-3);
}

TEST(Motion, is_rigid_and_undone_by_its_inverse_to_second_order) {
  std::mt19937 random(2);
  std::uniform_real_distribution<double> unit(-1, 1);
  const geometry::Profile form = sphere();
  for (int k = 0; k < 20; ++k) {
    const Vector3d n = Vector3d(unit(random), unit(random), 0.3 + std::abs(unit(random))).normalized();
    const Vector3d c = (kRadius + kThickness) * n;
    const Isometry3d m =
        rework::motion_of({3 * unit(random), 3 * unit(random), 3 * unit(random)}, form, c, n);
    EXPECT_NEAR((m.linear() * m.linear().transpose() - Eigen::Matrix3d::Identity()).norm(), 0, 1e-12);
    EXPECT_NEAR(m.linear().determinant(), 1, 1e-12);
    // The piece keeps its tilt: its normal at the new place is the form's there.
    EXPECT_NEAR((m.linear() * n - (m * c).normalized()).norm(), 0, 1e-4);
  }
}

solid::PieceSolid square(double side) {
  solid::PieceSolid piece;
  const std::array<Vector2d, 4> corner{Vector2d(0, 0), Vector2d(side, 0), Vector2d(side, side),
                                       Vector2d(0, side)};
  for (std::size_t i = 0; i < 4; ++i) {
    for (int k = 0; k < 80; ++k) {
      const Vector2d p = corner[i] + (corner[(i + 1) % 4] - corner[i]) * (k / 80.0);
      piece.arris.emplace_back(p.x(), p.y(), 0);
      piece.root.emplace_back(p.x(), p.y(), -kThickness);
    }
  }
  return piece;
}

TEST(Sanding, takes_the_depth_within_and_runs_out_beyond) {
  const solid::PieceSolid piece = square(40);
  const solid::PieceSolid sanded =
      rework::sanded_piece(piece, {{10, 22, 0.6}});  // along the first edge, y = 0
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    const Vector3d shift = sanded.arris[i] - piece.arris[i];
    EXPECT_NEAR((sanded.root[i] - piece.root[i] - shift).norm(), 0, 1e-12);
    const double x = piece.arris[i].x();
    double wanted = 0;
    if (piece.arris[i].y() == 0 && i < 80) {
      wanted = 0.6 * std::clamp(1 - std::max({10 - x, x - 22, 0.0}) / rework::kRunOutMm, 0.0, 1.0);
    }
    EXPECT_NEAR(shift.y(), wanted, 1e-9) << i;
    EXPECT_NEAR(shift.x(), 0, 1e-9);
  }
}

TEST(Sanding, over_the_first_vertex_and_overlapping) {
  const solid::PieceSolid piece = square(40);
  const solid::PieceSolid sanded =
      rework::sanded_piece(piece, {{155, 5, 0.5}});  // last 5 mm and first 5 mm of the outline
  EXPECT_NEAR((sanded.arris[319] - piece.arris[319]).x(), 0.5, 0.01);
  EXPECT_NEAR((sanded.arris[4] - piece.arris[4]).y(), 0.5, 1e-9);
  EXPECT_NEAR((sanded.arris[0] - piece.arris[0]).x(), 0.5, 1e-9);  // a corner loses from both its edges
  EXPECT_NEAR((sanded.arris[0] - piece.arris[0]).y(), 0.5, 1e-9);
  EXPECT_NEAR(rework::stretch_length({155, 5, 0.5}, 160), 10, 1e-12);
  // The same wood is not taken twice.
  const solid::PieceSolid twice = rework::sanded_piece(piece, {{10, 20, 0.6}, {15, 30, 0.4}});
  EXPECT_NEAR((twice.arris[35] - piece.arris[35]).y(), 0.6, 1e-9);
  EXPECT_NEAR((twice.arris[50] - piece.arris[50]).y(), 0.4, 1e-9);
}

TEST(MixedProgram, agrees_with_enumeration) {
  std::mt19937 random(11);
  std::uniform_int_distribution<int> digit(1, 9);
  for (int trial = 0; trial < 25; ++trial) {
    // Cover: choose items so that every row is met, at least cost.
    constexpr unsigned kItems = 8;
    rework::MixedProgram program;
    rework::MixedProgram::Terms cost;
    for (unsigned i = 0; i < kItems; ++i) cost.emplace_back(program.add_variable(0, 1, true), digit(random));
    std::vector<std::vector<double>> rows;
    for (int r = 0; r < 4; ++r) {
      rework::MixedProgram::Terms terms;
      rows.emplace_back();
      for (unsigned i = 0; i < kItems; ++i) {
        rows.back().push_back(digit(random) > 5 ? digit(random) : 0);
        terms.emplace_back(static_cast<int>(i), rows.back().back());
      }
      program.add_row(9, terms, rework::MixedProgram::kInfinity);
    }
    double best = 1e9;
    for (unsigned s = 0; s < 1u << kItems; ++s) {
      double price = 0;
      std::array<double, 4> met{};
      for (unsigned i = 0; i < kItems; ++i) {
        if (!(s >> i & 1u)) continue;
        price += cost[i].second;
        for (std::size_t r = 0; r < 4; ++r) met[r] += rows[r][i];
      }
      if (*std::min_element(met.begin(), met.end()) >= 9) best = std::min(best, price);
    }
    using Root = rework::MixedProgram::Limits::Root;
    for (const Root root : {Root::all, Root::cheap, Root::nodes_alone}) {
      const auto solution = program.minimise(cost, {.root = root});
      EXPECT_TRUE(solution.proved);
      EXPECT_EQ(solution.feasible, best < 1e9);
      if (best < 1e9) {
        EXPECT_NEAR(solution.objective, best, 1e-6);
      }
    }
  }
}

// Stopped before the nodes alone show a solution, one is found all the same, and not called proved.
TEST(MixedProgram, a_search_that_was_stopped_has_a_solution) {
  std::mt19937 random(12);
  std::uniform_int_distribution<int> digit(1, 9);
  rework::MixedProgram program;
  rework::MixedProgram::Terms cost;
  for (int i = 0; i < 60; ++i) cost.emplace_back(program.add_variable(0, 1, true), 20 + digit(random));
  for (int r = 0; r < 40; ++r) {
    rework::MixedProgram::Terms terms;
    for (int i = 0; i < 60; ++i) {
      if (digit(random) > 7) terms.emplace_back(i, digit(random));
    }
    program.add_row(17, terms, rework::MixedProgram::kInfinity);
  }
  const auto solution =
      program.minimise(cost, {.max_nodes = 1, .root = rework::MixedProgram::Limits::Root::nodes_alone});
  EXPECT_TRUE(solution.feasible);
  EXPECT_FALSE(solution.proved);
}

TEST(MixedProgram, plain_linear_program_and_bounds) {
  rework::MixedProgram program;  // least x + 2 y with x + y >= 4, x <= 3
  const int x = program.add_variable(0, 3), y = program.add_variable(0, rework::MixedProgram::kInfinity);
  program.add_row(4, {{x, 0.5}, {y, 1}, {x, 0.5}},
                  rework::MixedProgram::kInfinity);  // terms of one variable add up
  const auto solution = program.minimise({{x, 1}, {y, 2}}, {});
  ASSERT_TRUE(solution.feasible);
  EXPECT_NEAR(solution.objective, 5, 1e-9);
  program.set_bounds(y, 0, 0.5);
  EXPECT_FALSE(program.minimise({{x, 1}}, {}).feasible);
}

}  // namespace
}  // namespace interstice
