// The adjustment on synthetic photos of cards, and the small geometry round it.
#include "scan/bundle.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "camera/cards.h"
#include "scan/card_poses.h"
#include "scan/seat.h"
#include "scan/tie_points.h"

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

Isometry3d looking_at(const Vector3d& from, const Vector3d& at) {
  const Vector3d z = (at - from).normalized(), x = z.cross(Vector3d::UnitZ()).normalized();
  Isometry3d bench_T_camera = Isometry3d::Identity();
  bench_T_camera.linear() << x, z.cross(x), z;
  bench_T_camera.translation() = from;
  return bench_T_camera.inverse();
}

struct Scene {
  Lens lens;
  std::vector<Isometry3d> camera_T_bench, bench_T_card;
  std::vector<PhotoCards> photos;
};

Scene make_scene(double noise_px, unsigned seed) {
  Scene s;
  s.lens = plain_lens(2000, 1500, 1500);
  s.lens.k1 = 0.05;
  s.lens.k2 = -0.1;
  for (int c = 0; c < 4; ++c) {
    Isometry3d t = Isometry3d::Identity();
    t.linear() = Eigen::AngleAxisd(0.4 + 1.5 * c, Vector3d::UnitZ()).toRotationMatrix();
    t.translation() = 230 * Vector3d(std::cos(1.57 * c), std::sin(1.57 * c), 0.001 * c);
    s.bench_T_card.push_back(t);
  }
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, noise_px);
  for (int p = 0; p < 10; ++p) {
    const double a = 2 * std::numbers::pi * p / 10;
    s.camera_T_bench.push_back(
        looking_at({480 * std::cos(a), 480 * std::sin(a), 260.0 + 40 * (p % 3)}, {0, 0, 20}));
    PhotoCards photo{static_cast<std::size_t>(p), s.lens, {}};
    for (int c = 0; c < 4; ++c) {
      CardView view;
      view.card = c + 1;
      for (int k = 0; k < kCornersPerCard; ++k) {
        const Vector2d q =
            s.lens.project(s.camera_T_bench.back() * (s.bench_T_card[std::size_t(c)] * card_point(k)));
        if (!s.lens.in_frame(q, 5)) continue;
        view.corner_id.push_back(k);
        view.pixel.push_back(noise_px > 0 ? Vector2d(q + Vector2d(noise(random), noise(random))) : q);
        view.sd_px.push_back(std::max(0.02, noise_px));
      }
      if (view.corner_id.size() >= 8) photo.views.push_back(view);
    }
    s.photos.push_back(photo);
  }
  return s;
}

// Camera centres of a solution and of the truth, one column a photo.
std::pair<Eigen::Matrix3Xd, Eigen::Matrix3Xd> centres(const CardPoses& poses, const Scene& s) {
  Eigen::Matrix3Xd got(3, poses.photos.size()), want(3, poses.photos.size());
  for (std::size_t i = 0; i < poses.photos.size(); ++i) {
    got.col(Eigen::Index(i)) = poses.bundle.camera_T_bench[PhotoIndex(i)].inverse().translation();
    want.col(Eigen::Index(i)) = s.camera_T_bench[poses.photos[i]].inverse().translation();
  }
  return {got, want};
}

// Absolute orientation by Eigen's umeyama (S. Umeyama, IEEE PAMI 13, 1991): the solved centres are the true
// ones but for a rigid motion, and the scale between them is 1.
TEST(Adjustment, FindsNoiseFreePosesUpToTheFrame) {
  const Scene s = make_scene(0, 1);
  CardPoses poses = poses_from_cards(s.photos, 1.0);
  ASSERT_EQ(poses.photos.size(), 10u);
  BundleOptions options;
  options.free_lens = false;
  const BundleSummary summary = adjust(poses.bundle, options);
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
  CardPoses poses = poses_from_cards(s.photos, 0.987);
  BundleOptions options;
  options.free_lens = false;
  adjust(poses.bundle, options);
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
    CardPoses poses = poses_from_cards(s.photos, 1.0);
    BundleOptions options;
    options.free_lens = false;
    adjust(poses.bundle, options);
    // Relative to the first card, the gauge: compare in its frame.
    std::size_t card = std::size_t(poses.cards[0] - 1);
    const Isometry3d want = s.camera_T_bench[poses.photos[3]] * s.bench_T_card[card];
    const Vector3d d = poses.bundle.camera_T_bench[PhotoIndex(3)].translation() - want.translation();
    spread += d.squaredNorm() / kRuns;
    stated += pose_covariances(poses.bundle, options)[PhotoIndex(3)].block<3, 3>(3, 3).trace() / kRuns;
  }
  // 120 squared normal deviates: a standard deviation of 13 % about the mean.
  EXPECT_NEAR(spread / stated, 1.0, 0.4);
}

TEST(Adjustment, PhotosWithoutCardsAreNamed) {
  Scene s = make_scene(0, 1);
  s.photos[4].views.clear();
  const CardPoses poses = poses_from_cards(s.photos, 1.0);
  ASSERT_EQ(poses.left_out.size(), 1u);
  EXPECT_EQ(poses.left_out[0].photo, 4u);
}

TEST(Rays, MeetWhereTheyMeet) {
  const Vector3d p(3, -2, 7);
  const std::vector<Vector3d> origins{{0, 0, 0}, {10, 1, 2}, {-4, 8, 1}};
  std::vector<Vector3d> rays;
  for (const Vector3d& o : origins) rays.push_back((p - o).normalized());
  EXPECT_LT((intersect_rays(origins, rays) - p).norm(), 1e-9);
}

Profile dome(double radius) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 200; ++i) {
    const double c = std::numbers::pi / 2 * i / 200;
    rz.emplace_back(radius * std::sin(c), radius * std::cos(c));
  }
  rz.front().x() = 0;
  rz.back().y() = 0;
  return Profile(rz);
}

TEST(Rays, ReachTheSphereTheyAimAt) {
  const Profile form = dome(100);
  const Vector3d from(300, 0, 200), at = 114 * Vector3d(0.6, 0, 0.8);
  const Vector3d hit = ray_to_height(form, from, (at - from).normalized(), 14);
  EXPECT_LT((hit - at).norm(), 0.05);
  EXPECT_FALSE(ray_to_height(form, from, Vector3d::UnitZ(), 14).allFinite());
}

TEST(Seat, IsFoundAmongClutter) {
  const Profile form = dome(100);
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
  const Seat seat = find_seat(points, form, 14, {0, 0});
  EXPECT_LT((seat.axis_mm - axis).norm(), 0.15);
  EXPECT_NEAR(seat.face_mm, 14, 0.3);
}

}  // namespace
}  // namespace interstice
