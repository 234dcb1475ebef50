// The band eliminated first gives what the whole matrix gives.
#include "edges/arris_normal.h"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <cmath>
#include <numbers>
#include <random>

namespace interstice {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

edges::ArrisLine round_line(int points) {
  geometry::PlaneFrame plane = geometry::make_plane_frame({0, 0, 0}, {0, 0, 1}, {1, 0, 0});
  geometry::Polygon outline;
  for (int k = 0; k < points; ++k) {
    const double a = 2 * std::numbers::pi * k / points;
    outline.emplace_back(9 * std::cos(a), 6 * std::sin(a));
  }
  return {plane, outline, {}};
}

class NormalOf : public testing::TestWithParam<int> {};

TEST_P(NormalOf, SolvesAndInvertsLikeTheWholeMatrix) {
  const edges::ArrisLine line = round_line(GetParam());
  const edges::ArrisUnknowns u(line);
  edges::ArrisNormal normal(u);
  MatrixXd a = MatrixXd::Zero(u.size(), u.size());
  VectorXd b = VectorXd::Zero(u.size());
  const auto add = [&](Eigen::Index i, Eigen::Index j, double value) {
    normal.add(i, j, value);
    a(i, j) += value;
    if (i != j) a(j, i) += value;
  };
  const Eigen::Index n = u.points();
  for (Eigen::Index i = 0; i < n; ++i) {
    const Eigen::Index before = (i + n - 1) % n, after = (i + 1) % n;
    for (const auto& [j, k, value] : {std::tuple(before, before, 1.0),
                                      {i, i, 4.0},
                                      {after, after, 1.0},
                                      {before, i, -2.0},
                                      {i, after, -2.0},
                                      {before, after, 1.0}})
      add(j, k, 3 * value);
  }
  for (Eigen::Index i = 0; i < u.size(); ++i) add(i, i, 0.5);
  for (Eigen::Index i = u.knot(); i + 1 < u.size(); ++i) add(i + 1, i, -0.2);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> uniform(-1, 1);
  for (Eigen::Index i = 0; i < u.size(); ++i) {
    const double right = uniform(random);
    normal.add_right(i, right);
    b[i] += right;
  }
  for (std::size_t point = 0; point < line.outline.size(); ++point) {
    for (int reading = 0; reading < 3; ++reading) {
      edges::ArrisObservation o{point, geometry::PhotoIndex(0), uniform(random), uniform(random), 30, 0.05};
      o.shade_mm = uniform(random);
      const edges::ArrisUnknowns::Row r = u.row(o);
      normal.add(r, 20, o.offset_mm);
      for (int p = 0; p < edges::ArrisUnknowns::kTerms; ++p) {
        b[r.index[p]] += 20 * r.value[p] * o.offset_mm;
        for (int q = 0; q < edges::ArrisUnknowns::kTerms; ++q)
          a(r.index[p], r.index[q]) += 20 * r.value[p] * r.value[q];
      }
    }
  }
  const MatrixXd whole = a.inverse();
  EXPECT_LT((normal.solve() - whole * b).cwiseAbs().maxCoeff(), 1e-9 * (whole * b).cwiseAbs().maxCoeff());
  EXPECT_LT((normal.inverse() - whole).cwiseAbs().maxCoeff(), 1e-9 * whole.cwiseAbs().maxCoeff());
}

// Few points too, where neighbours on either side meet.
INSTANTIATE_TEST_SUITE_P(Outlines, NormalOf, testing::Values(3, 4, 5, 6, 47, 120));

}  // namespace
}  // namespace interstice
