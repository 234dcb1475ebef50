// The adjustment on synthetic photos of cards, and the small geometry round it.
#include "scan/bundle.h"
#include "scan/pose_covariance.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "core/errors.h"
#include "scan/card_poses.h"
#include "scan/card_scene.h"
#include "scan/form_pose.h"
#include "scan/length_check.h"
#include "scan/scan.h"
#include "scan/tie_points.h"

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

using testing_scene::looking_at;
using testing_scene::make_scene;
using testing_scene::Scene;

// Camera centres of a solution and of the truth, one column a photo.
std::pair<Eigen::Matrix3Xd, Eigen::Matrix3Xd> centres(const scan::CardPoses& poses, const Scene& s) {
  Eigen::Matrix3Xd got(3, poses.photos.size()), want(3, poses.photos.size());
  for (std::size_t i = 0; i < poses.photos.size(); ++i) {
    got.col(Eigen::Index(i)) = poses.bundle.camera_T_bench[geometry::PhotoIndex(i)].inverse().translation();
    want.col(Eigen::Index(i)) = s.camera_T_bench[poses.photos[i]].inverse().translation();
  }
  return {got, want};
}

// Absolute orientation by Eigen's umeyama (S. Umeyama, IEEE PAMI 13, 1991): the solved centres are the true
// ones but for a rigid motion, and the scale between them is 1.
TEST(Adjustment, FindsNoiseFreePosesUpToTheFrame) {
  const Scene s = make_scene(0, 1);
  scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  ASSERT_EQ(poses.photos.size(), 10u);
  scan::BundleOptions options;
  options.free_lens = false;
  const scan::BundleSummary summary = scan::adjust(poses.bundle, options);
  EXPECT_LT(summary.corner_rms_px, 1e-5);
  const auto [got, want] = centres(poses, s);
  const Eigen::Matrix4d rigid = Eigen::umeyama(got, want, false), similar = Eigen::umeyama(got, want, true);
  const Eigen::Matrix3Xd moved =
      (rigid.topLeftCorner<3, 3>() * got).colwise() + Vector3d(rigid.topRightCorner<3, 1>());
  EXPECT_LT((moved - want).norm(), 1e-4);
  EXPECT_NEAR(Vector3d(similar.block<3, 1>(0, 0)).norm(), 1.0, 1e-7);
}

TEST(Adjustment, APrintOfAnotherScaleScalesTheWorld) {
  const Scene s = make_scene(0, 1);
  scan::CardPoses poses = scan::poses_from_cards(s.photos, 0.987);
  scan::BundleOptions options;
  options.free_lens = false;
  scan::adjust(poses.bundle, options);
  const auto [got, want] = centres(poses, s);
  EXPECT_NEAR(Vector3d(Eigen::umeyama(got, want, true).block<3, 1>(0, 0)).norm(), 1 / 0.987, 1e-6);
}

// The stated covariance against the spread over repeated noise.
TEST(Adjustment, CovarianceIsTheSpreadOfRepeatedMeasurements) {
  constexpr double kNoise = 0.1;
  constexpr int kRuns = 40;
  double spread = 0, stated = 0;
  for (int run = 0; run < kRuns; ++run) {
    const Scene s = make_scene(kNoise, 100 + unsigned(run));
    scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
    scan::BundleOptions options;
    options.free_lens = false;
    scan::adjust(poses.bundle, options);
    // Relative to the first card, the gauge: compare in its frame.
    std::size_t card = std::size_t(poses.cards[0] - 1);
    const Isometry3d want = s.camera_T_bench[poses.photos[3]] * s.bench_T_card[card];
    const Vector3d d =
        poses.bundle.camera_T_bench[geometry::PhotoIndex(3)].translation() - want.translation();
    spread += d.squaredNorm() / kRuns;
    stated +=
        scan::pose_covariances(poses.bundle, options)[geometry::PhotoIndex(3)].block<3, 3>(3, 3).trace() /
        kRuns;
  }
  // 120 squared normal deviates: a standard deviation of 13 % about the mean.
  EXPECT_NEAR(spread / stated, 1.0, 0.4);
}

// A point before the camera is moved alike by a pose's error and by the same error taken about the camera.
TEST(Adjustment, ErrorsAboutTheCameraMovePointsAsThePosesDo) {
  scan::ScannedPhoto photo;
  photo.camera_T_bowl = Isometry3d(Eigen::AngleAxisd(1.1, Vector3d(0.3, 0.8, -0.5).normalized()));
  photo.camera_T_bowl.translation() = Vector3d(20, -35, 430);
  Eigen::Matrix<double, 7, 7> half;
  for (int i = 0; i < 49; ++i) half(i / 7, i % 7) = std::sin(1.7 * i) * (i % 7 < 3 ? 1e-4 : 1e-2);
  half.row(6) *= 0.01;
  const Eigen::Matrix<double, 7, 7> about_bench = half * half.transpose();
  photo.covariance = scan::about_camera(about_bench, photo.camera_T_bowl);
  for (const Vector3d& p : {Vector3d(0, 0, 0), Vector3d(110, 20, 15), Vector3d(-30, 60, 120)}) {
    // By differences, as the adjustment moves it: the rotation of the bench's axes, then the translation.
    Eigen::Matrix<double, 3, 7> by;
    const auto moved = [&](int k, double step) -> Vector3d {
      Eigen::Matrix<double, 7, 1> e = Eigen::Matrix<double, 7, 1>::Zero();
      e[k] = step;
      const Vector3d turn = e.head<3>();
      const Eigen::AngleAxisd turned(turn.norm(), turn.norm() > 0 ? turn.normalized() : Vector3d::UnitX());
      Vector3d at = turned * (photo.camera_T_bowl.linear() * p) + photo.camera_T_bowl.translation() +
                    Vector3d(e.segment<3>(3));
      at.head<2>() *= 1 + e[6];
      return at;
    };
    for (int k = 0; k < 7; ++k) by.col(k) = (moved(k, 1e-5) - moved(k, -1e-5)) / 2e-5;
    const Eigen::Matrix3d want = by * about_bench * by.transpose();
    const auto stated = photo.moved_by_errors(p);
    EXPECT_LT((stated * photo.covariance * stated.transpose() - want).norm(), 1e-5 * want.norm());
  }
}

// How the bench's axes lie is nothing to a camera: its small rotations and shifts, taken in its own axes,
// keep their covariance. (Rotation vectors of more than a radian differ much from small rotations.)
TEST(Adjustment, TurningTheBenchLeavesTheCovarianceInTheCamerasAxes) {
  scan::CardPoses poses = scan::poses_from_cards(make_scene(0.1, 3).photos, 1.0);
  scan::BundleOptions options;
  options.free_lens = false;
  scan::adjust(poses.bundle, options);
  const auto before = scan::pose_covariances(poses.bundle, options);
  const Isometry3d turn(Eigen::AngleAxisd(1.9, Vector3d(0.4, -0.7, 1.1).normalized()));
  for (Isometry3d& t : poses.bundle.camera_T_bench) t = t * turn.inverse();
  for (Isometry3d& t : poses.bundle.bench_T_card) t = turn * t;
  const auto after = scan::pose_covariances(poses.bundle, options);
  for (std::size_t i = 0; i < before.size(); ++i) {
    const auto &a = before[geometry::PhotoIndex(i)], &b = after[geometry::PhotoIndex(i)];
    for (const int k : {0, 3}) {
      const Eigen::Matrix3d size = a.block<3, 3>(k, k), apart = size - b.block<3, 3>(k, k);
      EXPECT_LT(apart.norm(), 1e-4 * size.norm()) << i << ' ' << k;
    }
  }
}

// A wrong corner (a card half under the bowl, a reflection) must not pull the poses along.
TEST(Adjustment, WrongCornersDoNotPull) {
  const Scene s = make_scene(0.05, 1);
  scan::CardPoses clean = scan::poses_from_cards(s.photos, 1.0);
  scan::CardPoses wrong = clean;
  for (std::size_t i = 0; i < wrong.bundle.corners.size(); i += 40)
    wrong.bundle.corners[i].pixel += Vector2d(6, -4);
  scan::BundleOptions options;
  options.free_lens = false;
  scan::adjust(clean.bundle, options);
  const scan::BundleSummary summary = scan::adjust(wrong.bundle, options);
  const auto [a, want] = centres(clean, s);
  const auto [b, same] = centres(wrong, s);
  EXPECT_LT((a - b).colwise().norm().maxCoeff(), 0.05);  // mm, at half a metre
  EXPECT_LT(summary.corner_factor, 1.2);                 // the robust size is that of the good ones
  EXPECT_GT(summary.corner_rms_px, 0.5);                 // and the plain one tells of the others
}

// The lens comes out of the same photos when it was only guessed.
TEST(Adjustment, FindsTheLens) {
  const Scene s = make_scene(0, 1);
  scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  scan::Bundle& b = poses.bundle;
  camera::Lens guess = camera::plain_lens(2000, 1500, 1470);
  b.lenses = geometry::IndexedVector<scan::LensIndex, camera::Lens>(1, guess);
  for (scan::LensIndex& l : b.lens_of) l = scan::LensIndex(0);
  scan::adjust(b, {});
  const camera::Lens& found = b.lenses[scan::LensIndex(0)];
  EXPECT_NEAR(found.fx, s.lens.fx, 0.01);
  EXPECT_NEAR(found.fy, s.lens.fy, 0.01);
  EXPECT_NEAR(found.cx, s.lens.cx, 0.02);
  EXPECT_NEAR(found.k1, s.lens.k1, 1e-4);
}

// Phones move the lens a little from shot to shot: each photo's focusing is found within its prior.
TEST(Adjustment, FindsTheFocusing) {
  Scene s = make_scene(0, 1);
  const double refocused = 1.004;
  for (camera::CardView& view : s.photos[2].views) {
    for (std::size_t i = 0; i < view.pixel.size(); ++i) {
      camera::Lens lens = s.lens;
      lens.fx *= refocused;
      lens.fy *= refocused;
      view.pixel[i] = lens.project(s.camera_T_bench[2] * (s.bench_T_card[std::size_t(view.card - 1)] *
                                                          camera::card_point(view.corner_id[i])));
    }
  }
  scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  scan::BundleOptions options;
  options.free_lens = false;
  options.focus_prior_sd = 0.01;
  scan::adjust(poses.bundle, options);
  for (std::size_t i = 0; i < poses.photos.size(); ++i)
    EXPECT_NEAR(poses.bundle.focus[geometry::PhotoIndex(i)], poses.photos[i] == 2 ? refocused : 1.0, 1e-4)
        << i;
  options.focus_prior_sd = 0;
  scan::CardPoses held = scan::poses_from_cards(s.photos, 1.0);
  scan::adjust(held.bundle, options);
  for (const double focus : held.bundle.focus) EXPECT_EQ(focus, 1.0);
}

// Tie points sharpen nothing they should not: true ones leave true poses alone, and come out where they are.
TEST(Adjustment, TiePointsComeOutWhereTheyAre) {
  const Scene s = make_scene(0, 1);
  scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  scan::Bundle& b = poses.bundle;
  scan::BundleOptions options;
  options.free_lens = false;
  scan::adjust(b, options);
  std::mt19937 random(9);
  std::uniform_real_distribution<double> at(-60, 60);
  std::vector<Vector3d> truth;
  for (int k = 0; k < 50; ++k) {
    const Vector3d p(at(random), at(random), 60 + at(random) / 2);
    truth.push_back(p);
    const scan::PointIndex index = b.points.push_back(p + Vector3d(2, -3, 1));
    for (std::size_t i = 0; i < poses.photos.size(); ++i)
      b.ties.push_back({geometry::PhotoIndex(i), index,
                        b.lenses[scan::LensIndex(i)].project(b.camera_T_bench[geometry::PhotoIndex(i)] * p),
                        0.3});
  }
  const scan::BundleSummary summary = scan::adjust(b, options);
  EXPECT_LT(summary.tie_rms_px, 1e-3);
  for (std::size_t k = 0; k < truth.size(); ++k)
    EXPECT_LT((b.points[scan::PointIndex(k)] - truth[k]).norm(), 2e-3);
}

// Lengths on cards left out of the scale: true prints have none to tell but noise; a print of another size
// among them is found out, its longest diagonal (168 x 96 - inner corners 7 x 4 squares of 24 mm) most.
TEST(LengthCheck, TellsAPrintOfAnotherSize) {
  const Scene s = make_scene(0.05, 3);
  scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  scan::BundleOptions options;
  options.free_lens = false;
  scan::adjust(poses.bundle, options);
  const scan::LengthCheck check = scan::check_lengths(poses.bundle, options);
  EXPECT_EQ(check.lengths, 4u * 28u * 27u / 2u);
  EXPECT_NEAR(check.longest_mm, std::hypot(6 * camera::kSquareMm, 3 * camera::kSquareMm), 1e-9);
  EXPECT_LT(std::abs(check.largest_error_mm), 0.1);
  EXPECT_GT(check.rms_error_mm, 0);

  Scene wrong = s;  // card 3 printed 1 % small
  for (scan::PhotoCards& photo : wrong.photos) {
    for (camera::CardView& view : photo.views) {
      for (std::size_t i = 0; view.card == 3 && i < view.pixel.size(); ++i)
        view.pixel[i] =
            s.lens.project(s.camera_T_bench[photo.photo] *
                           (s.bench_T_card[2] * Vector3d(0.99 * camera::card_point(view.corner_id[i]))));
    }
  }
  scan::CardPoses other = scan::poses_from_cards(wrong.photos, 1.0);
  scan::adjust(other.bundle, options);
  const scan::LengthCheck told = scan::check_lengths(other.bundle, options);
  EXPECT_NEAR(told.largest_error_mm, -0.01 * told.longest_mm, 0.3);
}

TEST(Adjustment, TooFewPhotosAreRefused) {
  Scene s = make_scene(0, 1);
  s.photos.resize(2);
  EXPECT_THROW(scan::poses_from_cards(s.photos, 1.0), core::MeasureError);
  EXPECT_THROW(scan::poses_from_cards({}, 1.0), core::MeasureError);
}

// Photos that see one card nobody else sees cannot be joined.
TEST(Adjustment, PhotosOfACardApartAreNamed) {
  Scene s = make_scene(0, 1);
  for (std::size_t p = 0; p < s.photos.size(); ++p) {
    auto& views = s.photos[p].views;
    std::erase_if(views, [&](const camera::CardView& v) { return p == 7 ? v.card != 1 : v.card == 1; });
  }
  ASSERT_FALSE(s.photos[7].views.empty());
  const scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  ASSERT_EQ(poses.left_out.size(), 1u);
  EXPECT_EQ(poses.left_out[0].photo, 7u);
  EXPECT_NE(poses.left_out[0].reason.find("do not connect"), std::string::npos);
  EXPECT_EQ(poses.cards.size(), 3u);
}

// Both first poses and cards stand near the truth before any adjustment.
TEST(Adjustment, FirstPosesAreNear) {
  const Scene s = make_scene(0.1, 5);
  const scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  const auto [got, want] = centres(poses, s);
  const Eigen::Matrix4d rigid = Eigen::umeyama(got, want, false);
  const Eigen::Matrix3Xd moved =
      (rigid.topLeftCorner<3, 3>() * got).colwise() + Vector3d(rigid.topRightCorner<3, 1>());
  EXPECT_LT((moved - want).colwise().norm().maxCoeff(), 5);
}

TEST(Adjustment, PhotosWithoutCardsAreNamed) {
  Scene s = make_scene(0, 1);
  s.photos[4].views.clear();
  const scan::CardPoses poses = scan::poses_from_cards(s.photos, 1.0);
  ASSERT_EQ(poses.left_out.size(), 1u);
  EXPECT_EQ(poses.left_out[0].photo, 4u);
}

TEST(Rays, MeetWhereTheyMeet) {
  const Vector3d p(3, -2, 7);
  const std::vector<Vector3d> origins{{0, 0, 0}, {10, 1, 2}, {-4, 8, 1}};
  std::vector<Vector3d> rays;
  for (const Vector3d& o : origins) rays.push_back((p - o).normalized());
  EXPECT_LT((scan::intersect_rays(origins, rays) - p).norm(), 1e-9);
}

// Two skew lines, x axis and a line along y at height h: the point halfway between them.
TEST(Rays, SkewRaysMeetInTheMiddle) {
  const double h = 0.8;
  const Vector3d p = scan::intersect_rays({{-5, 0, 0}, {2, -9, h}}, {Vector3d::UnitX(), Vector3d::UnitY()});
  EXPECT_LT((p - Vector3d(2, 0, h / 2)).norm(), 1e-10);
}

geometry::Profile dome(double radius) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 200; ++i) {
    const double c = std::numbers::pi / 2 * i / 200;
    rz.emplace_back(radius * std::sin(c), radius * std::cos(c));
  }
  rz.front().x() = 0;
  rz.back().y() = 0;
  return geometry::Profile(rz);
}

TEST(Rays, ReachTheSphereTheyAimAt) {
  const geometry::Profile form = dome(100);
  const Vector3d from(300, 0, 200), at = 114 * Vector3d(0.6, 0, 0.8);
  const Vector3d hit = scan::ray_to_height(form, from, (at - from).normalized(), 14);
  EXPECT_LT((hit - at).norm(), 0.05);
  EXPECT_FALSE(scan::ray_to_height(form, from, Vector3d::UnitZ(), 14).allFinite());
}

TEST(Seat, IsFoundAmongClutter) {
  const geometry::Profile form = dome(100);
  std::mt19937 random(3);
  std::uniform_real_distribution<double> unit(0, 1);
  std::normal_distribution<double> noise(0, 0.3);
  std::vector<Vector3d> points;
  const Vector2d axis(17.3, -8.6);
  for (int i = 0; i < 600; ++i) {  // faces, 14 mm above the form
    const double c = 1.4 * std::sqrt(unit(random)), a = 6.28 * unit(random);
    const Vector3d n(std::sin(c) * std::cos(a), std::sin(c) * std::sin(a), std::cos(c));
    points.push_back((114 + noise(random)) * n + Vector3d(axis.x(), axis.y(), 0));
  }
  for (int i = 0; i < 600; ++i) {  // bench, background and mismatches
    points.emplace_back(600 * (unit(random) - 0.5), 600 * (unit(random) - 0.5),
                        i % 2 ? 0.2 : 300 * unit(random));
  }
  const scan::Seat seat = scan::find_seat(points, form, 14, {0, 0});
  EXPECT_LT((seat.axis_mm - axis).norm(), 0.15);
  EXPECT_NEAR(seat.face_mm, 14, 0.3);
}

TEST(Seat, BareFormIsFoundToo) {
  const geometry::Profile form = dome(100);
  std::mt19937 random(4);
  std::uniform_real_distribution<double> unit(0, 1);
  std::vector<Vector3d> points;
  for (int i = 0; i < 500; ++i) {
    const double c = 1.4 * std::sqrt(unit(random)), a = 6.28 * unit(random);
    points.emplace_back(100 * std::sin(c) * std::cos(a) - 9, 100 * std::sin(c) * std::sin(a) + 21,
                        100 * std::cos(c));
  }
  EXPECT_LT((scan::find_seat(points, form, 14, {0, 0}).axis_mm - Vector2d(-9, 21)).norm(), 0.1);
}

TEST(Seat, NothingThereIsRefused) {
  std::vector<Vector3d> bench;
  for (int i = 0; i < 200; ++i) bench.emplace_back(i, 2 * i % 77, 0.1);
  EXPECT_THROW(scan::find_seat(bench, dome(100), 14, {0, 0}), core::MeasureError);
  EXPECT_THROW(scan::find_seat({}, dome(100), 14, {0, 0}), core::MeasureError);
}

}  // namespace
}  // namespace interstice
