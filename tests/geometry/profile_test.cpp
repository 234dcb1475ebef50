// The form's map against closed forms and published values.
#include "geometry/profile.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <random>
#include <stdexcept>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

// Meridian of a sphere from the pole to `degrees` of colatitude, centre at the origin.
geometry::Profile sphere(double radius, double degrees, int steps) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= steps; ++i) {
    const double c = degrees * std::numbers::pi / 180 * i / steps;
    rz.emplace_back(radius * std::sin(c), radius * std::cos(c));
  }
  rz.front().x() = 0;
  return geometry::Profile(rz);
}

// Snyder, Map Projections - A Working Manual, USGS Professional Paper 1395 (1987), p. 338: azimuthal
// equidistant, sphere of radius 3, centre 40 N 100 W, point 20 S 100 E: x = -5.8311398, y = 5.5444634. The
// map of a form that is a sphere, seen from its pole, is this projection: rho = R c in the point's azimuth.
TEST(Map, AgreesWithSnydersWorkedAzimuthalEquidistantExample) {
  const double phi1 = 40 * std::numbers::pi / 180, lambda0 = -100 * std::numbers::pi / 180,
               phi = -20 * std::numbers::pi / 180, lambda = 100 * std::numbers::pi / 180;
  const auto unit = [](double f, double l) {
    return Vector3d(std::cos(f) * std::cos(l), std::cos(f) * std::sin(l), std::sin(f));
  };
  // Axes at the projection's centre: up, east, north.
  const Vector3d up = unit(phi1, lambda0), east(-std::sin(lambda0), std::cos(lambda0), 0),
                 north = up.cross(east);
  const Vector3d p = unit(phi, lambda);
  const geometry::Profile form = sphere(3, 175, 4000);
  const geometry::MapPoint m = form.locate(3 * Vector3d(p.dot(east), p.dot(north), p.dot(up)));
  EXPECT_NEAR(m.uv.x(), -5.8311398, 2e-6);
  EXPECT_NEAR(m.uv.y(), 5.5444634, 2e-6);
  EXPECT_NEAR(m.height, 0, 1e-6);
}

// The same source's scale factor across the radius, k' = c / sin c.
TEST(Map, StretchesAlongTheRingsAsTheScaleFactorSays) {
  const double table[][2] = {{30, 1.047198}, {45, 1.110721}, {60, 1.2092}, {75, 1.355173}, {90, 1.570796}};
  const geometry::Profile form = sphere(100, 120, 4000);
  for (const auto& [degrees, k] : table) {
    const double rho = 100 * degrees * std::numbers::pi / 180, step = 1e-3;
    const Vector3d a = form.point({rho, 0}), b = form.point({rho * std::cos(step), rho * std::sin(step)});
    EXPECT_NEAR(rho * step / (a - b).norm(), k, 2e-6) << degrees;
  }
}

// Chords are passed over by bounds: whatever the place, no point of the meridian lies nearer than the foot.
TEST(Profile, NothingLiesNearerThanTheFoot) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 190; ++i) {  // a bulb with a waist, points unevenly spread
    const double t = i / 190.0, s = t * t * (3 - 2 * t);
    rz.emplace_back(90 * std::sin(1.4 * s) + 14 * s * std::sin(7 * s), 110 * std::cos(1.5 * s));
  }
  rz.front().x() = 0;
  const geometry::Profile form(rz);
  std::mt19937 random(3);
  std::uniform_real_distribution<double> r(0, 160), z(-40, 160);
  for (int k = 0; k < 400; ++k) {
    const Vector2d q(r(random), z(random));
    const geometry::MapPoint foot = form.locate({q.x(), 0, q.y()});
    double nearest = 1e9;
    for (double rho = 0; rho <= form.length() + 60; rho += 0.02)
      nearest = std::min(nearest, (form.at(rho).rz - q).norm());
    EXPECT_LT((form.at(foot.uv.norm()).rz - q).norm(), nearest + 0.02) << q.transpose();
  }
}

TEST(Profile, HemisphereHasItsArcAndNormals) {
  const geometry::Profile form = sphere(110, 90, 300);
  EXPECT_NEAR(form.length(), 110 * std::numbers::pi / 2, 2e-3);
  for (const double rho : {0.0, 20.0, 77.0, 150.0}) {
    const double c = rho / 110;
    const geometry::MeridianPoint m = form.at(rho);
    EXPECT_NEAR(m.normal.x(), std::sin(c), 1e-4);
    EXPECT_NEAR(m.normal.y(), std::cos(c), 1e-4);
  }
}

TEST(Profile, PointAndLocateUndoEachOther) {
  const geometry::Profile form = sphere(110, 90, 200);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> uv(-115, 115), height(-8, 25);
  for (int i = 0; i < 2000; ++i) {
    const Vector2d at(uv(random), uv(random));
    const double h = height(random);
    const geometry::MapPoint back = form.locate(form.point(at, h));
    EXPECT_LT((back.uv - at).norm(), 1e-6);
    EXPECT_NEAR(back.height, h, 1e-6);
  }
}

TEST(Profile, GoesOnStraightBeyondTheRim) {
  const geometry::Profile form = sphere(100, 90, 200);
  const Vector3d below = form.point({form.length() + 3, 0});
  EXPECT_NEAR(below.x(), 100, 1e-2);
  EXPECT_NEAR(below.z(), -3, 1e-2);
  EXPECT_NEAR(form.locate(below).uv.x(), form.length() + 3, 1e-6);
}

TEST(Profile, OffsetMovesAlongTheNormal) {
  const geometry::Profile form = sphere(100, 90, 200);
  const geometry::Profile larger = form.offset(std::vector<double>(form.points().size(), 0.7));
  for (const Vector2d& p : larger.points()) EXPECT_NEAR(p.norm(), 100.7, 1e-3);
}

// A cone of half angle 30 degrees seen from the axis: straight meridian, constant normal, stretch of the map
// rho / r constant. Next to the apex the cubic rounds it off: a surface of revolution is level at its pole.
TEST(Profile, ConeIsStraight) {
  std::vector<Vector2d> rz;
  const double half = 30 * std::numbers::pi / 180;
  for (int i = 0; i <= 40; ++i)
    rz.emplace_back(3 * i * std::sin(half), 120 * std::cos(half) - 3 * i * std::cos(half));
  const geometry::Profile form(rz);
  EXPECT_NEAR(form.length(), 120, 1e-12);
  for (const double rho : {10.0, 50.5, 119.0}) {
    const geometry::MeridianPoint m = form.at(rho);
    EXPECT_NEAR(m.rz.x(), rho * std::sin(half), 1e-12);
    EXPECT_NEAR(m.normal.x(), std::cos(half), 1e-12);
    EXPECT_NEAR(m.normal.y(), std::sin(half), 1e-12);
    const Vector3d p = form.point({0, rho}, 7);
    EXPECT_NEAR(p.y(), rho * std::sin(half) + 7 * std::cos(half), 1e-12);
    const geometry::MapPoint back = form.locate(p);
    EXPECT_LT((back.uv - Vector2d(0, rho)).norm(), 1e-9);
    EXPECT_NEAR(back.height, 7, 1e-9);
  }
}

// A lid rounded into a cylinder: along the cylinder rho counts height, the normal is level.
TEST(Profile, CylinderWithARoundedEdge) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 20; ++i) rz.emplace_back(2.0 * i, 80);
  for (int i = 1; i <= 60; ++i) {
    const double c = std::numbers::pi / 2 * i / 60;
    rz.emplace_back(40 + 20 * std::sin(c), 60 + 20 * std::cos(c));
  }
  for (int i = 1; i <= 30; ++i) rz.emplace_back(60, 60 - 2.0 * i);
  const geometry::Profile form(rz);
  const double length = 40 + 10 * std::numbers::pi + 60;
  EXPECT_NEAR(form.length(), length, 2e-3);
  const Vector3d p = form.point(Vector2d::UnitX() * (length - 25), 5);
  EXPECT_NEAR(p.x(), 65, 1e-9);
  EXPECT_NEAR(p.z(), 25, 2e-3);
  EXPECT_NEAR(form.at(20).normal.y(), 1, 1e-12);
  const geometry::MeridianPoint round = form.at(40 + 5 * std::numbers::pi);  // half-way round the edge
  EXPECT_NEAR(round.normal.x(), std::sqrt(0.5), 1e-4);
  EXPECT_NEAR((round.rz - Vector2d(40, 60)).norm(), 20, 1e-3);
}

TEST(Profile, AxesAtAPlaceAreSquareAndRightHanded) {
  const geometry::Profile form = sphere(100, 90, 200);
  for (const Vector2d& uv : {Vector2d(0, 0), Vector2d(30, -70), Vector2d(-120, 5)}) {
    const Vector3d ring = form.along_ring(uv), pole = form.towards_pole(uv), normal = form.normal(uv);
    EXPECT_LT((ring.cross(pole) - normal).norm(), 1e-12);
    if (uv.norm() == 0) continue;
    const double step = 1e-4;
    const Vector3d nearer = form.point(uv * (1 - step / uv.norm()));
    EXPECT_LT(((nearer - form.point(uv)) / step - pole).norm(), 1e-5);
    const Vector2d round = uv + step * Vector2d(-uv.y(), uv.x()).normalized();
    EXPECT_GT((form.point(round) - form.point(uv)).normalized().dot(ring), 1 - 1e-6);
  }
}

TEST(Profile, PoleAndTheAxisAboveIt) {
  const geometry::Profile form = sphere(100, 90, 200);
  const geometry::MapPoint top = form.locate({0, 0, 112});
  EXPECT_LT(top.uv.norm(), 1e-9);
  EXPECT_NEAR(top.height, 12, 1e-9);
  EXPECT_LT((form.point({0, 0}, 12) - Vector3d(0, 0, 112)).norm(), 1e-12);
  EXPECT_LT(form.locate({1e-13, 0, 100}).uv.norm(), 1e-9);
}

TEST(Profile, BadMeridiansAreRefused) {
  EXPECT_THROW(geometry::Profile({{0, 10}, {5, 8}}), std::invalid_argument);
  EXPECT_THROW(geometry::Profile({{1, 10}, {5, 8}, {9, 0}}), std::invalid_argument);
  EXPECT_THROW(geometry::Profile({{0, 10}, {5, 8}, {5, 8}, {9, 0}}), std::invalid_argument);
  EXPECT_THROW(geometry::Profile({{0, 10}, {5, 8}, {0, 4}, {9, 0}}), std::invalid_argument);
  EXPECT_THROW(geometry::Profile({{0, 10}, {5, NAN}, {9, 0}}), std::invalid_argument);
  EXPECT_THROW(sphere(100, 90, 20).offset({1, 2}), std::invalid_argument);
}

}  // namespace
}  // namespace interstice
