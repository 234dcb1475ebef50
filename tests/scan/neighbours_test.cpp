// Matching along epipolar lines against matching everything with everything by OpenCV's own matcher.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/features2d.hpp>
#include <random>

#include "card_scene.h"
#include "scan/tie_points.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using testing_scene::looking_at;

// Two photos of 400 places on a half sphere, every descriptor repeated with noise; some places look alike,
// some features belong to nothing.
std::vector<scan::TiePhoto> two_photos(double pixel_noise) {
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0, 1);
  std::uniform_real_distribution<double> any(0, 1);
  std::vector<scan::TiePhoto> photos(2);
  photos[0].camera_T_bench = looking_at({420, 0, 300}, {0, 0, 30});
  photos[1].camera_T_bench = looking_at({380, 180, 320}, {0, 0, 30});
  const int places = 400, strays = 300, length = 128;
  cv::Mat look(places, length, CV_32F);
  cv::RNG numbers(3);
  numbers.fill(look, cv::RNG::UNIFORM, 0, 0.12);
  for (int k = 0; k < places; k += 5)
    look.row(k + 1) = look.row(k) + 0.01;  // alike: the ratio test must refuse
  for (scan::TiePhoto& photo : photos) {
    photo.lens = camera::plain_lens(2000, 1500, 1600);
    photo.lens.k1 = 0.05;
    photo.features.descriptors = cv::Mat(places + strays, length, CV_32F);
    numbers.fill(photo.features.descriptors, cv::RNG::UNIFORM, 0, 0.12);
    for (int k = 0; k < places; ++k) {
      cv::Mat shaken(1, length, CV_32F);
      numbers.fill(shaken, cv::RNG::NORMAL, 0, 0.01 + 0.03 * (k % 7) / 6.0);
      cv::Mat(look.row(k) + shaken).copyTo(photo.features.descriptors.row(k));
    }
  }
  for (int k = 0; k < places + strays; ++k) {
    const double a = 6.283 * any(random), z = any(random), r = std::sqrt(1 - z * z);
    const Vector3d p = 80 * Vector3d(r * std::cos(a), r * std::sin(a), z);
    for (scan::TiePhoto& photo : photos) {
      const bool stray = k >= places;
      const Vector2d at(2000 * any(random), 1500 * any(random));
      photo.features.pixel.push_back(stray ? at
                                           : Vector2d(photo.lens.project(photo.camera_T_bench * p) +
                                                      pixel_noise * Vector2d(noise(random), noise(random))));
      photo.features.sd_px.push_back(0.5);
    }
  }
  return photos;
}

std::vector<Vector3d> by_everything(const std::vector<scan::TiePhoto>& photos) {
  std::vector<std::vector<cv::DMatch>> matches;
  cv::BFMatcher(cv::NORM_L2)
      .knnMatch(photos[0].features.descriptors, photos[1].features.descriptors, matches, 2);
  std::vector<Vector3d> points;
  for (const auto& m : matches) {
    if (m[0].distance > 0.85 * m[1].distance) continue;
    std::vector<Vector3d> centres, rays;
    for (int i = 0; i < 2; ++i) {
      const scan::TiePhoto& photo = photos[static_cast<std::size_t>(i)];
      const auto f = static_cast<std::size_t>(i == 0 ? m[0].queryIdx : m[0].trainIdx);
      const Eigen::Isometry3d bench_T_camera = photo.camera_T_bench.inverse();
      centres.push_back(bench_T_camera.translation());
      rays.push_back(bench_T_camera.linear() * photo.lens.undistort(photo.features.pixel[f]));
    }
    const Vector3d p = scan::intersect_rays(centres, rays);
    if ((p - centres[0]).dot(rays[0]) <= 0) continue;
    bool near = true;
    for (int i = 0; i < 2; ++i) {
      const scan::TiePhoto& photo = photos[static_cast<std::size_t>(i)];
      const auto f = static_cast<std::size_t>(i == 0 ? m[0].queryIdx : m[0].trainIdx);
      near = near && (photo.lens.project(photo.camera_T_bench * p) - photo.features.pixel[f]).norm() < 2.5;
    }
    if (near) points.push_back(p);
  }
  return points;
}

TEST(Neighbours, AlongLinesFindsWhatMatchingEverythingFinds) {
  for (const double noise_px : {0.3, 1.5}) {
    const std::vector<scan::TiePhoto> photos = two_photos(noise_px);
    const std::vector<Vector3d> expected = by_everything(photos),
                                found = scan::points_of(scan::match_neighbours(photos, 2));
    ASSERT_GT(expected.size(), 100u);
    ASSERT_LT(expected.size(), 400u);
    ASSERT_EQ(found.size(), expected.size()) << noise_px;
    for (std::size_t i = 0; i < found.size(); ++i) EXPECT_LT((found[i] - expected[i]).norm(), 1e-9);
  }
}

TEST(Neighbours, NothingToMatch) {
  std::vector<scan::TiePhoto> photos = two_photos(0.3);
  photos[1].features = {};
  EXPECT_TRUE(scan::points_of(scan::match_neighbours(photos, 1)).empty());
}

// A hundred photos, two degrees apart: each is held against photos from which a depth can be told, at least eight
// degrees away, not against the nearest.
TEST(Neighbours, AreFarEnoughApartToTellADepth) {
  constexpr double kStep = 2 * std::numbers::pi / 180;
  std::vector<scan::TiePhoto> photos(100);
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const double a = kStep * double(i);
    photos[i].lens = camera::plain_lens(2000, 1500, 1600);
    photos[i].camera_T_bench = looking_at({420 * std::cos(a), 420 * std::sin(a), 0}, {0, 0, 0});
  }
  const auto pairs = scan::match_neighbours(photos, 1);
  std::vector<int> of_photo(photos.size(), 0);
  for (const scan::PairPoints& pair : pairs) {
    EXPECT_GE(kStep * double(pair.second - pair.first), 0.139);
    EXPECT_LE(kStep * double(pair.second - pair.first), 0.25);
    ++of_photo[pair.first];
    ++of_photo[pair.second];
  }
  for (const int n : of_photo) EXPECT_GE(n, 3);
}

}  // namespace
}  // namespace interstice
