// Where to photograph again: directions and words by construction on a hemisphere.
#include "seams/advice.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

geometry::Profile hemisphere() {
  std::vector<Vector2d> points;
  for (int k = 0; k <= 90; ++k) {
    const double a = k * std::numbers::pi / 180;
    points.emplace_back(100 * std::sin(a), 100 * std::cos(a));
  }
  return geometry::Profile(points);
}

// A seam at azimuth `theta`, `down` from the pole, running towards the pole or along the ring.
seams::FitSeam seam_at(const geometry::Profile& form, double theta, double down, bool meridional) {
  seams::FitSeam s;
  s.map = 100 * down * Vector2d(std::cos(theta), std::sin(theta));
  s.at = form.point(s.map, 14);
  const Vector3d along = meridional ? form.towards_pole(s.map) : form.along_ring(s.map);
  for (const double x : {-10.0, 10.0})
    s.samples.push_back({x + 10, 3, 0.1, s.at + x * along, s.at + x * along});
  return s;
}

TEST(Advice, ClockGoesClockwiseFromTheNamedPiece) {
  const seams::ClockFace clock{"A01", 0.5};
  EXPECT_EQ(seams::hour_at(clock, 0.5), 12);
  EXPECT_EQ(seams::hour_at(clock, 0.5 - std::numbers::pi / 2), 3);
  EXPECT_EQ(seams::hour_at(clock, 0.5 + std::numbers::pi), 6);
  EXPECT_EQ(seams::hour_at(clock, 0.5 - std::numbers::pi), 6);
  EXPECT_EQ(seams::hour_at(clock, 0.5 + std::numbers::pi / 6), 11);
  EXPECT_EQ(seams::hour_at(clock, 0.5 + 8 * std::numbers::pi), 12);
}

// Two views, one over each piece, at a slope of 0.6 to the form's normal (31 degrees), mirror images of each
// other.
TEST(Advice, ViewsStandOnEitherSideOfTheSeam) {
  const geometry::Profile form = hemisphere();
  for (const double theta : {0.0, 1.0, 4.0}) {
    const seams::FitSeam s = seam_at(form, theta, 0.9, true);
    const Vector3d normal = form.normal(s.map), across = form.along_ring(s.map);
    const auto views = seams::views_wanted(s, form);
    ASSERT_EQ(views.size(), 2u);
    EXPECT_NEAR(views[0].dot(normal), views[1].dot(normal), 1e-6);
    EXPECT_NEAR(views[0].dot(across), -views[1].dot(across), 1e-6);
    for (const Vector3d& v : views) {
      EXPECT_NEAR(v.norm(), 1, 1e-12);
      EXPECT_NEAR(std::abs(v.dot(across)) / v.dot(normal), 0.6, 1e-6);
    }
  }
}

TEST(Advice, CamerasStayAboveTheBench) {
  const geometry::Profile form = hemisphere();
  const auto views =
      seams::views_wanted(seam_at(form, 0.3, 1.5, false), form);  // along the ring, near the rim
  ASSERT_EQ(views.size(), 2u);
  for (const Vector3d& v : views) {
    EXPECT_GE(v.z(), std::sin(15 * std::numbers::pi / 180) - 1e-9);
    EXPECT_NEAR(v.norm(), 1, 1e-12);
  }
}

TEST(Advice, OnlyWhereAnotherPhotoMaySettleIt) {
  const geometry::Profile form = hemisphere();
  std::vector<seams::FitSeam> seams(6, seam_at(form, 0, 0.9, true));
  for (seams::FitSeam& s : seams) {
    s.verdict = seams::Verdict::clear;
    s.narrowest_mm = 4;
    s.u95_mm = 0.15;
  }
  seams[0].verdict = seams::Verdict::unseen;
  seams[0].u95_mm.reset();
  seams[1].verdict = seams[2].verdict = seams::Verdict::doubtful;
  seams[2].u95_mm = 0.6;
  scan::Scan scan;
  seams::advise(scan, form, {"A01", 0}, {}, seams);
  EXPECT_EQ(seams[0].advice.size(), 2u);
  EXPECT_TRUE(seams[1].advice.empty()) << "as sure as the others: more photos change little";
  ASSERT_EQ(seams[2].advice.size(), 2u);
  EXPECT_TRUE(seams[3].advice.empty());
  EXPECT_NE(seams[2].advice[0].find("o'clock (A01 at 12, seen from above)"), std::string::npos)
      << seams[2].advice[0];
  EXPECT_NE(seams[2].advice[0], seams[2].advice[1]);
}

scan::ScannedPhoto photo_from(double theta, double up, const Vector3d& at) {
  scan::ScannedPhoto photo;
  photo.lens = camera::plain_lens(2000, 1500, 1500);
  const Vector3d to(std::cos(up) * std::cos(theta), std::cos(up) * std::sin(theta), std::sin(up));
  Eigen::Matrix3d bowl_T_camera;
  const Vector3d x = Vector3d(-to).cross(Vector3d::UnitZ()).normalized();
  bowl_T_camera << x, Vector3d(-to).cross(x), -to;
  Eigen::Isometry3d pose(bowl_T_camera);
  pose.translation() = at + 500 * to;
  photo.camera_T_bowl = pose.inverse();
  return photo;
}

// A doubtful seam over the lowest ring asks for a photo from straight outward, 10 degrees up, until there is one from
// below 15 degrees on its side.
TEST(Advice, UpperEdgesOfTheLowestRingAskForALowPhoto) {
  const geometry::Profile form = hemisphere();
  seams::FitSeam s = seam_at(form, 1.0, 1.2, false);
  s.tiles = {"A01", "B01"};
  s.verdict = seams::Verdict::doubtful;
  s.narrowest_mm = 3;
  s.u95_mm = 0.15;
  const double degree = std::numbers::pi / 180;
  const std::string wanted = "10 degrees up, about 50 cm away";
  const auto asked = [&](const scan::Scan& scan, const std::set<std::string>& lowest) {
    std::vector<seams::FitSeam> seams{s, s};
    seams[1].verdict = seams::Verdict::clear;
    seams::advise(scan, form, {"A01", 1.0}, lowest, seams);
    EXPECT_TRUE(seams[1].advice.empty());
    return std::any_of(seams[0].advice.begin(), seams[0].advice.end(), [&](const std::string& line) {
      return line.find("from 12 o'clock") != std::string::npos && line.find(wanted) != std::string::npos;
    });
  };
  scan::Scan scan;
  scan.photos.push_back(photo_from(1.0, 25 * degree, s.at));
  EXPECT_TRUE(asked(scan, {"A01"}));
  EXPECT_FALSE(asked(scan, {"A01", "B01"})) << "both of the lowest ring: no upper edge";
  EXPECT_FALSE(asked(scan, {"C01"}));
  scan.photos.push_back(photo_from(3.5, 8 * degree, s.at));
  EXPECT_TRUE(asked(scan, {"A01"})) << "low, but from the other side";
  scan.photos.push_back(photo_from(1.3, 12 * degree, s.at));
  EXPECT_FALSE(asked(scan, {"A01"}));
}

}  // namespace
}  // namespace interstice
