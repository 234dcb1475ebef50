// Polygons against closed forms and brute force.
#include "geometry/polygon.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>

#include "geometry/cyclic_runs.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
constexpr double kPi = std::numbers::pi;

geometry::Polygon regular(int n, double radius, const Vector2d& centre = {0, 0}) {
  geometry::Polygon p;
  for (int i = 0; i < n; ++i) {
    p.push_back(centre + radius * Vector2d(std::cos(2 * kPi * i / n), std::sin(2 * kPi * i / n)));
  }
  return p;
}

TEST(Polygon, RegularPolygonsHaveTheirAreaAndPerimeter) {
  for (const int n : {3, 4, 7, 64}) {
    const geometry::Polygon p = regular(n, 5, {100, -40});
    EXPECT_NEAR(geometry::signed_area(p), 0.5 * n * 25 * std::sin(2 * kPi / n), 1e-10);
    EXPECT_NEAR(geometry::perimeter(p), 2 * n * 5 * std::sin(kPi / n), 1e-11);
    EXPECT_LT((geometry::centroid(p) - Vector2d(100, -40)).norm(), 1e-11);
    geometry::Polygon back = p;
    std::reverse(back.begin(), back.end());
    EXPECT_NEAR(geometry::signed_area(back), -geometry::signed_area(p), 1e-10);
    EXPECT_LT((geometry::centroid(back) - geometry::centroid(p)).norm(), 1e-11);
  }
}

// An L of two rectangles: 4 x 1 and 1 x 2 on top of its left end.
TEST(Polygon, ConcaveCentroidIsTheWeightedMean) {
  const geometry::Polygon l{{0, 0}, {4, 0}, {4, 1}, {1, 1}, {1, 3}, {0, 3}};
  EXPECT_NEAR(geometry::signed_area(l), 6, 1e-14);
  EXPECT_LT((geometry::centroid(l) - Vector2d((4 * 2 + 2 * 0.5) / 6, (4 * 0.5 + 2 * 2) / 6)).norm(), 1e-14);
  EXPECT_TRUE(geometry::contains(l, {0.5, 2.5}));
  EXPECT_FALSE(geometry::contains(l, {1.5, 2.5}));
  EXPECT_TRUE(geometry::contains(l, {3.5, 0.5}));
}

TEST(Polygon, ContainsAgreesWithTheWindingOfAngles) {
  std::mt19937 random(2);
  std::uniform_real_distribution<double> at(-6, 6);
  geometry::Polygon star;
  for (int i = 0; i < 14; ++i)
    star.push_back((i % 2 ? 2.0 : 5.0) * Vector2d(std::cos(kPi * i / 7), std::sin(kPi * i / 7)));
  int inside = 0;
  for (int k = 0; k < 2000; ++k) {
    const Vector2d p(at(random), at(random));
    double turns = 0;
    for (std::size_t i = 0; i < star.size(); ++i) {
      const Vector2d a = star[i] - p, b = star[(i + 1) % star.size()] - p;
      turns += std::atan2(a.x() * b.y() - a.y() * b.x(), a.dot(b)) / (2 * kPi);
    }
    EXPECT_EQ(geometry::contains(star, p), std::abs(turns) > 0.5);
    inside += std::abs(turns) > 0.5 ? 1 : 0;
  }
  EXPECT_GT(inside, 300);
}

TEST(Polygon, SelfCrossingNamesTheEdges) {
  EXPECT_FALSE(geometry::self_crossing(regular(50, 3)));
  const auto bow_tie = geometry::self_crossing(geometry::Polygon{{0, 0}, {4, 2}, {4, 0}, {0, 2}});
  ASSERT_TRUE(bow_tie);
  EXPECT_EQ(*bow_tie, (std::pair<std::size_t, std::size_t>(0, 2)));
  // A large loop: one vertex pulled far across.
  geometry::Polygon loop = regular(40, 10);
  std::swap(loop[10], loop[20]);
  EXPECT_TRUE(geometry::self_crossing(loop));
  // An outline that touches itself in a point.
  EXPECT_TRUE(geometry::self_crossing(geometry::Polygon{{0, 0}, {4, 0}, {4, 4}, {2, 0}, {0, 4}}));
}

TEST(Polygon, GrownConvexShapes) {
  // A regular polygon's edges all move out by d: its apothem grows by d.
  const geometry::Polygon hexagon = regular(6, 10);
  EXPECT_NEAR(geometry::signed_area(geometry::grown(hexagon, 1.5)),
              6 * std::pow(10 * std::cos(kPi / 6) + 1.5, 2) * std::tan(kPi / 6), 1e-10);
  // Steiner's formula for a smooth outline: area + perimeter d + pi d^2.
  const geometry::Polygon circle = regular(2000, 10);
  EXPECT_NEAR(geometry::signed_area(geometry::grown(circle, 2)), kPi * 144, 1e-2);
  EXPECT_NEAR(geometry::signed_area(geometry::grown(circle, -2)), kPi * 64, 1e-2);
}

TEST(Polygon, NormalsPointOutward) {
  const geometry::Polygon p = regular(12, 4, {7, 7});
  const std::vector<Vector2d> normals = geometry::outward_normals(p);
  for (std::size_t i = 0; i < p.size(); ++i) {
    EXPECT_LT((normals[i] - (p[i] - Vector2d(7, 7)) / 4).norm(), 1e-12);
  }
}

TEST(Polygon, ResampledStepsAreEqualAndOnTheOutline) {
  const geometry::Polygon rectangle{{0, 0}, {30, 0}, {30, 20}, {0, 20}};
  const geometry::Polygon p = geometry::resampled(rectangle, 0.75);
  EXPECT_EQ(p.size(), 134u);  // 100 / 0.75 = 133.3
  EXPECT_EQ(p.front(), rectangle.front());
  for (const Vector2d& q : p) {
    const double off = std::min(std::min(std::abs(q.x()), std::abs(q.x() - 30)),
                                std::min(std::abs(q.y()), std::abs(q.y() - 20)));
    EXPECT_LT(off, 1e-12);
  }
  // Along the outline, each point lies at its share of the length.
  const auto along = [](const Vector2d& q) {
    if (q.y() < 1e-9) return q.x();
    if (q.x() > 30 - 1e-9) return 30 + q.y();
    if (q.y() > 20 - 1e-9) return 50 + 30 - q.x();
    return 80 + 20 - q.y();
  };
  for (std::size_t i = 0; i < p.size(); ++i) EXPECT_NEAR(along(p[i]), 100.0 * double(i) / 134, 1e-9);
}

TEST(Polyline, NearestAgreesWithDenseSampling) {
  std::mt19937 random(4);
  std::uniform_real_distribution<double> at(-10, 10);
  std::vector<Vector3d> line;
  for (int i = 0; i < 9; ++i) line.emplace_back(at(random), at(random), at(random));
  for (int k = 0; k < 50; ++k) {
    const Vector3d p(at(random), at(random), at(random));
    const geometry::NearestOnPolyline n = geometry::nearest_on_closed(line, p);
    double brute = 1e9;
    for (std::size_t i = 0; i < line.size(); ++i) {
      for (int t = 0; t <= 2000; ++t) {
        const Vector3d q = line[i] + t / 2000.0 * (line[(i + 1) % line.size()] - line[i]);
        brute = std::min(brute, (q - p).norm());
      }
    }
    EXPECT_NEAR(n.distance, brute, 2e-3);
    EXPECT_LE(n.distance, brute + 1e-12);
    const Vector3d again = line[n.segment] + n.t * (line[(n.segment + 1) % line.size()] - line[n.segment]);
    EXPECT_LT((again - n.point).norm(), 1e-12);
    EXPECT_NEAR((n.point - p).norm(), n.distance, 1e-12);
  }
}

// Beginning where the values change, round the seam of the list.
TEST(CyclicRuns, GoRoundTheOutline) {
  const auto as_text = [](const std::vector<int>& values) {
    std::string out;
    for (const auto& run : geometry::cyclic_runs(values))
      out +=
          std::to_string(run.first) + "+" + std::to_string(run.count) + "=" + std::to_string(run.value) + " ";
    return out;
  };
  EXPECT_EQ(as_text({7, 7, 2, 2, 2, -1, 7}), "2+3=2 5+1=-1 6+3=7 ");
  EXPECT_EQ(as_text({1, 2, 1}), "1+1=2 2+2=1 ");
  EXPECT_EQ(as_text({4, 4, 4}), "0+3=4 ");
  EXPECT_EQ(as_text({}), "");
}

}  // namespace
}  // namespace interstice
