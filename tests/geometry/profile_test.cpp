// The form's map against closed forms and published values.
#include "geometry/profile.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>

#include <cmath>
#include <numbers>
#include <random>

#include "geometry/polygon.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
constexpr double kPi = std::numbers::pi;

// Meridian of a sphere from the pole to `degrees` of colatitude, centre at the origin.
Profile sphere(double radius, double degrees, int steps) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= steps; ++i) {
    const double c = degrees * kPi / 180 * i / steps;
    rz.emplace_back(radius * std::sin(c), radius * std::cos(c));
  }
  rz.front().x() = 0;
  return Profile(rz);
}

// Snyder, Map Projections - A Working Manual, USGS Professional Paper 1395 (1987), p. 338: azimuthal
// equidistant, sphere of radius 3, centre 40 N 100 W, point 20 S 100 E: x = -5.8311398, y = 5.5444634. The
// map of a form that is a sphere, seen from its pole, is this projection: rho = R c in the point's azimuth.
TEST(Map, AgreesWithSnydersWorkedAzimuthalEquidistantExample) {
  const double phi1 = 40 * kPi / 180, lambda0 = -100 * kPi / 180, phi = -20 * kPi / 180,
               lambda = 100 * kPi / 180;
  const auto unit = [](double f, double l) {
    return Vector3d(std::cos(f) * std::cos(l), std::cos(f) * std::sin(l), std::sin(f));
  };
  // Axes at the projection's centre: up, east, north.
  const Vector3d up = unit(phi1, lambda0), east(-std::sin(lambda0), std::cos(lambda0), 0),
                 north = up.cross(east);
  const Vector3d p = unit(phi, lambda);
  const Profile form = sphere(3, 175, 4000);
  const MapPoint m = form.locate(3 * Vector3d(p.dot(east), p.dot(north), p.dot(up)));
  EXPECT_NEAR(m.uv.x(), -5.8311398, 2e-6);
  EXPECT_NEAR(m.uv.y(), 5.5444634, 2e-6);
  EXPECT_NEAR(m.height, 0, 1e-6);
}

// The same source's scale factor across the radius, k' = c / sin c.
TEST(Map, StretchesAlongTheRingsAsTheScaleFactorSays) {
  const double table[][2] = {{30, 1.047198}, {45, 1.110721}, {60, 1.2092}, {75, 1.355173}, {90, 1.570796}};
  const Profile form = sphere(100, 120, 4000);
  for (const auto& [degrees, k] : table) {
    const double rho = 100 * degrees * kPi / 180, step = 1e-3;
    const Vector3d a = form.point({rho, 0}), b = form.point({rho * std::cos(step), rho * std::sin(step)});
    EXPECT_NEAR(rho * step / (a - b).norm(), k, 2e-6) << degrees;
  }
}

TEST(Profile, HemisphereHasItsArcAndNormals) {
  const Profile form = sphere(110, 90, 300);
  EXPECT_NEAR(form.length(), 110 * kPi / 2, 2e-3);
  for (const double rho : {0.0, 20.0, 77.0, 150.0}) {
    const double c = rho / 110;
    const MeridianPoint m = form.at(rho);
    EXPECT_NEAR(m.normal.x(), std::sin(c), 1e-4);
    EXPECT_NEAR(m.normal.y(), std::cos(c), 1e-4);
  }
}

TEST(Profile, PointAndLocateUndoEachOther) {
  const Profile form = sphere(110, 90, 200);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> uv(-115, 115), height(-8, 25);
  for (int i = 0; i < 2000; ++i) {
    const Vector2d at(uv(random), uv(random));
    const double h = height(random);
    const MapPoint back = form.locate(form.point(at, h));
    EXPECT_LT((back.uv - at).norm(), 1e-6);
    EXPECT_NEAR(back.height, h, 1e-6);
  }
}

TEST(Profile, GoesOnStraightBeyondTheRim) {
  const Profile form = sphere(100, 90, 200);
  const Vector3d below = form.point({form.length() + 3, 0});
  EXPECT_NEAR(below.x(), 100, 1e-2);
  EXPECT_NEAR(below.z(), -3, 1e-2);
  EXPECT_NEAR(form.locate(below).uv.x(), form.length() + 3, 1e-6);
}

TEST(Profile, OffsetMovesAlongTheNormal) {
  const Profile form = sphere(100, 90, 200);
  const Profile larger = form.offset(std::vector<double>(form.points().size(), 0.7));
  for (const Vector2d& p : larger.points()) EXPECT_NEAR(p.norm(), 100.7, 1e-3);
}

TEST(Polygon, AreaCentroidAndCrossing) {
  const Polygon square{{0, 0}, {4, 0}, {4, 2}, {0, 2}};
  EXPECT_DOUBLE_EQ(signed_area(square), 8);
  EXPECT_TRUE(centroid(square).isApprox(Vector2d(2, 1)));
  EXPECT_FALSE(self_crossing(square));
  EXPECT_TRUE(self_crossing(Polygon{{0, 0}, {4, 2}, {4, 0}, {0, 2}}));
  EXPECT_TRUE(contains(square, {1, 1}));
  EXPECT_FALSE(contains(square, {5, 1}));
  EXPECT_NEAR(signed_area(grown(square, 0.5)), 5 * 3, 1e-12);
}

}  // namespace
}  // namespace interstice
