// A form that was pushed over the bench while it was photographed.
#include "surface/form_motion.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "surface/shell_plan.h"
#include "surface/sphere_scene.h"

namespace interstice {
namespace {

using Eigen::Vector2d;

std::vector<surface::PlaceDifference> differences_of(const std::vector<Vector2d>& pushes) {
  const Sphere s = rendered(5, pushes);
  surface::HeightField field;
  field.grid = surface::MapGrid::covering(80, 1.0);
  field.height = cv::Mat(field.grid.side(), field.grid.side(), CV_32F, cv::Scalar(5));
  return surface::place_differences(s.scan, s.pictures, testing_plan::dome(100), field, 2);
}

TEST(PlaceDifferences, OfAFormThatStoodStillAreNought) {
  const std::vector<surface::PlaceDifference> found = differences_of({});
  EXPECT_GE(found.size(), 14u);
  for (const surface::PlaceDifference& d : found) {
    EXPECT_TRUE(d.sure());
    EXPECT_LT(d.moved_mm.norm(), 0.25);
  }
}

// A pushed form stands higher or lower under the same place of the map, which views far apart see
// differently: the farther the push, the rougher.
TEST(PlaceDifferences, AreThePushesBetweenNeighbouringPhotos) {
  std::vector<Vector2d> pushes(7, Vector2d(0, 0));
  pushes[2] = {1.2, -0.8};
  pushes[5] = {-4.5, 3.2};
  int seen = 0;
  for (const surface::PlaceDifference& d : differences_of(pushes)) {
    if (d.second.value - d.first.value != 1) continue;
    const Vector2d push = pushes[d.second.value] - pushes[d.first.value];
    EXPECT_TRUE(d.sure());
    EXPECT_LT((d.moved_mm - push).norm(), 0.2 + 0.2 * push.norm())
        << d.first.value << " " << d.second.value << ": " << d.moved_mm.transpose();
    ++seen;
  }
  EXPECT_EQ(seen, 6);
}

TEST(PlaceDifferences, OfPicturesOfSomethingElseAreNotSure) {
  Sphere s = rendered(5);
  cv::RNG rng(3);
  rng.fill(s.pictures[geometry::PhotoIndex(3)].grey, cv::RNG::UNIFORM, 0, 255);
  cv::GaussianBlur(s.pictures[geometry::PhotoIndex(3)].grey, s.pictures[geometry::PhotoIndex(3)].grey, {0, 0},
                   2);
  surface::HeightField field;
  field.grid = surface::MapGrid::covering(80, 1.0);
  field.height = cv::Mat(field.grid.side(), field.grid.side(), CV_32F, cv::Scalar(5));
  for (const surface::PlaceDifference& d :
       surface::place_differences(s.scan, s.pictures, testing_plan::dome(100), field, 2))
    EXPECT_EQ(d.sure(), d.first.value != 3 && d.second.value != 3) << d.first.value << " " << d.second.value;
}

// Twelve photos in a ring, each held against the next two; 0.2 mm of error.
std::vector<surface::PlaceDifference> ring(const std::vector<std::size_t>& pushed, const Vector2d& push) {
  std::vector<surface::PlaceDifference> out;
  const auto at = [&](std::size_t i) {
    return std::count(pushed.begin(), pushed.end(), i) > 0 ? push : Vector2d(Vector2d::Zero());
  };
  for (std::size_t i = 0; i < 12; ++i) {
    for (std::size_t next = 1; next < 3; ++next) {
      const std::size_t j = (i + next) % 12;
      const double wrong = 0.2 * (double((7 * i + 3 * next) % 5) / 2 - 1);
      out.push_back({geometry::PhotoIndex(i), geometry::PhotoIndex(j),
                     at(j) - at(i) + Vector2d(wrong, -wrong), 0.7, 0.4, 2000});
    }
  }
  return out;
}

std::vector<std::size_t> named(const std::vector<surface::ElsewhereIn>& elsewhere) {
  std::vector<std::size_t> out;
  for (const surface::ElsewhereIn& e : elsewhere) out.push_back(e.photo.value);
  return out;
}

TEST(FormElsewhere, NoneWhereTheFormStoodStill) {
  EXPECT_TRUE(surface::form_elsewhere(ring({}, {0, 0}), std::vector<double>(12, 0.1)).empty());
  EXPECT_TRUE(surface::form_elsewhere({}, std::vector<double>(0, 0.1)).empty());
  EXPECT_TRUE(surface::form_elsewhere({}, std::vector<double>(3, 0.1)).empty());
}

TEST(FormElsewhere, IsInThePhotosThatMostDoNotAgreeWith) {
  const std::vector<std::size_t> pushed = {0, 1, 7};
  const std::vector<surface::ElsewhereIn> found =
      surface::form_elsewhere(ring(pushed, {1.2, 1.6}), std::vector<double>(12, 0.1));
  EXPECT_EQ(named(found), pushed);
  for (const surface::ElsewhereIn& e : found) EXPECT_NEAR(e.moved_mm, 2, 0.4);
}

// What a photo's own position does not settle is no sign of a push.
TEST(FormElsewhere, APhotoOfUnsurePositionIsNotAccused) {
  std::vector<double> sd(12, 0.1);
  sd[7] = 0.6;
  EXPECT_EQ(named(surface::form_elsewhere(ring({0, 7}, {1.2, 1.6}), sd)), std::vector<std::size_t>{0});
}

// A turn of a tenth of a degree about the camera moves what it sees half a metre away by 0.87 mm across the
// view.
TEST(FormElsewhere, HowFarAPhotosPositionSettlesThePlace) {
  scan::Scan scan;
  scan::ScannedPhoto photo;
  photo.camera_T_bowl = Eigen::Isometry3d::Identity();
  photo.camera_T_bowl.linear() =
      Eigen::AngleAxisd(std::numbers::pi, Eigen::Vector3d::UnitX()).toRotationMatrix();
  photo.camera_T_bowl.translation().z() = 500;  // straight above
  photo.covariance.setZero();
  photo.covariance(0, 0) = std::pow(0.1 * std::numbers::pi / 180, 2);
  scan.photos.push_back(photo);
  EXPECT_NEAR(surface::place_sds(scan, {0, 0, 0})[0], 0.8727, 1e-4);
  // A translation that makes up for it: where the two go together the place stays.
  photo.covariance.setZero();
  const double turn = std::sqrt(std::pow(0.1 * std::numbers::pi / 180, 2));
  photo.covariance(0, 0) = turn * turn;
  photo.covariance(0, 4) = photo.covariance(4, 0) = 500 * turn * turn;
  photo.covariance(4, 4) = 500 * 500 * turn * turn;
  scan.photos[geometry::PhotoIndex(0)] = photo;
  EXPECT_NEAR(surface::place_sds(scan, {0, 0, 0})[0], 0, 1e-6);
}

// One pair whose pictures were matched a joint's width off, and one that says nothing.
TEST(FormElsewhere, AMistakenDifferenceAccusesNobody) {
  std::vector<surface::PlaceDifference> differences = ring({}, {0, 0});
  differences[4].moved_mm = {8, -3};
  EXPECT_TRUE(surface::form_elsewhere(differences, std::vector<double>(12, 0.1)).empty());
  differences = ring({}, {0, 0});
  for (surface::PlaceDifference& d : differences) {
    if (d.first.value == 3 || d.second.value == 3) {
      d.above = 0.05;
      d.moved_mm = {6, 6};
    }
  }
  EXPECT_TRUE(surface::form_elsewhere(differences, std::vector<double>(12, 0.1)).empty());
}

}  // namespace
}  // namespace interstice
