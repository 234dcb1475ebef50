// What shutters, lenses, hands, phones and paper do to rendered photos: against closed forms, and against corners that
// OpenCV finds.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "render/card_corners.h"
#include "render/scenes.h"

namespace interstice::renderer {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

SceneOptions two_photos() {
  SceneOptions o = card_options(1);
  o.camera.photos = 2;
  return o;
}

TEST(CameraEffects, LeavePosesAndCardsWhereTheyWere) {
  SceneOptions o = two_photos();
  const Scene plain = make_scene(o);
  o.camera.row_shift_px = 2;
  o.camera.lens_wave_px = 0.5;
  o.camera.motion_share = 1;
  const Scene moved = make_scene(o);
  for (std::size_t i = 0; i < plain.shots.size(); ++i) {
    EXPECT_EQ(plain.shots[i].camera_R_bowl, moved.shots[i].camera_R_bowl);
    EXPECT_EQ(plain.shots[i].camera_t_bowl, moved.shots[i].camera_t_bowl);
  }
  EXPECT_EQ(plain.cards[0].frame.origin, moved.cards[0].frame.origin);
}

TEST(CameraEffects, RowsShiftByWhatTheTruthSays) {
  SceneOptions o = two_photos();
  o.camera.row_shift_px = 6;
  Scene scene = make_scene(o);
  // Of its own: a shift that grows along the rows, nought in the middle.
  Shot rows = scene.shots[0], still = rows;
  rows.row_shift_px = {6, -4};
  still.row_shift_px.setZero();
  for (const Vector3d& p : {Vector3d(0, 0, 0), Vector3d(60, 40, 0), Vector3d(-70, 20, 0)}) {
    const Vector2d was = still.project(p), now = rows.project(p);
    EXPECT_NEAR(now.x() - was.x(), 6 * (was.y() / 750 - 0.5), 1e-9);
    EXPECT_NEAR(now.y() - was.y(), -4 * (was.y() / 750 - 0.5), 1e-9);
    EXPECT_NEAR((rows.distorted(rows.undistorted(now)) - now).norm(), 0, 1e-8);
  }
  // In the photos, by corners as they are found.
  EXPECT_GT(std::abs(scene.shots[0].row_shift_px.x()) + std::abs(scene.shots[0].row_shift_px.y()), 1);
  EXPECT_NE(scene.shots[0].row_shift_px, scene.shots[1].row_shift_px);
  const std::vector<SeenCorner> seen = seen_corners(scene);
  EXPECT_GT(seen.size(), 40u);
  EXPECT_LT(corner_errors(seen, scene, 1).rms, 0.1);
  for (Shot& s : scene.shots) s.row_shift_px.setZero();
  EXPECT_GT(corner_errors(seen, scene, 1).rms, 0.4);
}

TEST(CameraEffects, LensWaveIsAsLargeAsAskedAndTheSameInAllPhotos) {
  SceneOptions o = two_photos();
  o.camera.lens_wave_px = 0.8;
  Scene scene = make_scene(o);
  ASSERT_TRUE(scene.shots[0].wave);
  EXPECT_EQ(scene.shots[0].wave, scene.shots[1].wave);
  Vector2d square = Vector2d::Zero(), mean = Vector2d::Zero();
  double steepest = 0;
  for (int y = 0; y < 750; ++y) {
    for (int x = 0; x < 1000; ++x) {
      const Vector2d w = scene.shots[0].wave->at({static_cast<double>(x), static_cast<double>(y)});
      square += w.cwiseAbs2() / 750e3;
      mean += w / 750e3;
      if (x % 50 == 0)
        steepest = std::max(steepest, (scene.shots[0].wave->at({x + 1.0, y + 0.0}) - w).norm());
    }
  }
  EXPECT_NEAR(std::sqrt(square.x()), 0.8, 1e-6);
  EXPECT_NEAR(std::sqrt(square.y()), 0.8, 1e-6);
  EXPECT_LT(mean.norm(), 1e-9);
  EXPECT_LT(steepest, 0.1);  // px a pixel: smooth
  const std::vector<SeenCorner> seen = seen_corners(scene);
  EXPECT_LT(corner_errors(seen, scene, 1).rms, 0.1);
  for (Shot& s : scene.shots) s.wave.reset();
  EXPECT_GT(corner_errors(seen, scene, 1).rms, 0.4);
}

TEST(CameraEffects, ASharePhotosIsSmearedByHalfToAllOfTheLength) {
  SceneOptions o = card_options(1);
  o.camera.photos = 20;
  o.camera.motion_share = 0.35;
  o.camera.motion_px = 4;
  std::vector<double> lengths;
  for (const Shot& s : make_scene(o).shots) {
    if (!s.smear_px.isZero(0)) lengths.push_back(s.smear_px.norm());
  }
  ASSERT_EQ(lengths.size(), 7u);
  EXPECT_GE(*std::min_element(lengths.begin(), lengths.end()), 2);
  EXPECT_LE(*std::max_element(lengths.begin(), lengths.end()), 4);
}

TEST(CameraEffects, SmearKeepsLightAndMiddleAndIsAsLongAsSaid) {
  cv::Mat dot = cv::Mat::zeros(41, 41, CV_32FC3);
  dot.at<cv::Vec3f>(20, 20) = {1, 1, 1};
  const Vector2d line(5 * std::cos(0.5), 5 * std::sin(0.5));
  const cv::Mat out = smeared(dot, line);
  double light = 0;
  Vector2d mean = Vector2d::Zero(), along = line.normalized();
  double square = 0, aside = 0;
  for (int y = 0; y < 41; ++y) {
    for (int x = 0; x < 41; ++x) {
      const double v = out.at<cv::Vec3f>(y, x)[1];
      const Vector2d p(x - 20, y - 20);
      light += v;
      mean += v * p;
      square += v * std::pow(p.dot(along), 2);
      aside += v * std::pow(p.x() * along.y() - p.y() * along.x(), 2);
    }
  }
  EXPECT_NEAR(light, 1, 1e-5);
  EXPECT_NEAR(mean.norm(), 0, 1e-4);
  // Of an even line L^2 / 12; sharing out between pixels adds a sixth at the most.
  EXPECT_GT(square, 25.0 / 12);
  EXPECT_LT(square, 25.0 / 12 + 0.2);
  EXPECT_LT(aside, 0.2);
}

CameraOptions plain_camera() {
  CameraOptions c;
  c.blur_px = c.noise = c.sharpen = 0;
  return c;
}

TEST(CameraEffects, ToneIsSShapedAboutMidGrey) {
  CameraOptions c = plain_camera();
  const auto code = [&](double linear) {
    return static_cast<double>(
        developed(cv::Mat(4, 4, CV_32FC3, cv::Scalar::all(linear)), c, 1).at<cv::Vec3b>(2, 2)[1]);
  };
  // sRGB (IEC 61966-2-1): 0.05 linear is 63.4 of 255, 0.2140 is 127.5, 0.5 is 187.5.
  const double dark = code(0.05), bright = code(0.5);
  EXPECT_NEAR(dark, 63.4, 0.6);
  c.tone = 1;
  const auto smoothstep = [](double x) { return 255 * x * x * (3 - 2 * x); };
  EXPECT_NEAR(code(0.05), smoothstep(63.4 / 255), 1);
  EXPECT_NEAR(code(0.2140), 127.5, 1);
  EXPECT_NEAR(code(0.5), smoothstep(187.5 / 255), 1);
  EXPECT_EQ(code(0), 0);
  EXPECT_EQ(code(1), 255);
  c.tone = 0.5;
  EXPECT_GT(code(0.05), smoothstep(63.4 / 255));
  EXPECT_LT(code(0.05), dark);
  EXPECT_GT(code(0.5), bright);
}

TEST(CameraEffects, ProcessingTakesNoiseOutAndPutsHalosOnEdges) {
  cv::Mat step(120, 240, CV_32FC3, cv::Scalar::all(0.12));
  step.colRange(120, 240).setTo(cv::Scalar::all(0.4));
  CameraOptions c = plain_camera();
  c.noise = 3;
  const auto figures = [&](double processing, double sharpen) {
    c.processing = processing;
    c.sharpen = sharpen;
    const cv::Mat out = developed(step, c, 7);
    cv::Scalar mean, sd, by_edge, unused;
    cv::meanStdDev(out.colRange(170, 230), mean, sd);
    cv::meanStdDev(out.colRange(120, 122), by_edge, unused);
    return std::pair<double, double>(sd[1], by_edge[1] - mean[1]);
  };
  const auto [noise_plain, halo_plain] = figures(0, 0);
  const auto [noise, halo] = figures(1, 0);
  EXPECT_LT(std::abs(halo_plain), 1);
  EXPECT_GT(halo, 8);
  const auto [noise_sharp, halo_sharp] = figures(0, 0.7);  // as sharp without taking noise out
  EXPECT_GT(halo_sharp, 8);
  EXPECT_LT(noise, 0.75 * noise_sharp);
  const auto [noise_half, halo_half] = figures(0.5, 0);
  EXPECT_GT(halo_half, 3);
  EXPECT_LT(halo_half, halo);
}

TEST(CameraEffects, ProcessedPhotosAreStoredAtTheirOwnQuality) {
  cv::Mat picture(64, 64, CV_8UC3);
  cv::randu(picture, 0, 255);
  CameraOptions c = plain_camera();
  const Shot shot = shot_from_above(c, 300);
  const std::string at_93 = photo_file(picture, shot, c, 0);
  c.processing = 1;
  const std::string full = photo_file(picture, shot, c, 0);
  c.processing = 0;
  c.jpeg_quality = 82;
  EXPECT_EQ(full, photo_file(picture, shot, c, 0));
  EXPECT_NE(full, at_93);
}

TEST(CurledCards, PaperIsBentButNotStretched) {
  CardPlace card;
  card.curl_per_mm = 4e-3;
  card.curl_towards_rad = 0.7;
  const double step = 1e-3;
  for (const Vector2d& p : {Vector2d(0, 0), Vector2d(90, 50), Vector2d(-80, 60)}) {
    for (const Vector2d& d : {Vector2d(1, 0), Vector2d(0, 1), Vector2d(0.6, -0.8)}) {
      const Vector2d q = p + step * d;
      const Vector3d there = card.on_sheet(q.x(), q.y()) - card.on_sheet(p.x(), p.y());
      EXPECT_NEAR(there.norm(), step, 1e-8);
      EXPECT_NEAR(there.dot(card.normal_at(p.x(), p.y())) / step, 0, 1e-5);
    }
    EXPECT_NEAR((card.flat(card.on_sheet(p.x(), p.y())) - p).norm(), 0, 1e-9);
  }
  // A circle of 250 mm: its points lie so far from its axis.
  const Vector3d q = card.on_sheet(100, 0);
  const double along = std::cos(0.7) * q.x() + std::sin(0.7) * q.y();
  EXPECT_NEAR(std::hypot(along, q.z() - 250), 250, 1e-9);
}

TEST(CurledCards, EndsRiseByNoMoreThanAskedAndStayOnTheBench) {
  SceneOptions o = preset("patch");
  o.cards.cards = {1, 2, 3, 4, 5, 6};
  o.cards.curl_mm = 2;
  std::vector<CardPlace> cards = place_cards(o);
  o.cards.curl_mm = 0;
  const std::vector<CardPlace> flat = place_cards(o);
  double most = 0;
  for (std::size_t i = 0; i < cards.size(); ++i) {
    double low = 1e9, high = -1e9;
    for (int x = -1; x <= 1; ++x) {
      for (int y = -1; y <= 1; ++y) {
        const double z = cards[i].on_sheet(x * kSheetLongMm / 2, y * kSheetShortMm / 2).z();
        low = std::min(low, z);
        high = std::max(high, z);
      }
    }
    const double bench = flat[i].frame.origin.z();
    EXPECT_NEAR(low, bench, 0.02) << i;
    EXPECT_LE(high - low, 2.0 + 1e-6);
    EXPECT_EQ(cards[i].frame.origin.head<2>(), flat[i].frame.origin.head<2>());
    most = std::max(most, high - low);
  }
  EXPECT_GT(most, 1);
}

TEST(CurledCards, PictureShowsTheBentPrint) {
  SceneOptions o = two_photos();
  o.cards.curl_mm = 6;
  o.seed = 3;
  Scene scene = make_scene(o);
  ASSERT_GT(std::abs(scene.cards[0].curl_per_mm), 1e-4);
  const std::vector<SeenCorner> seen = seen_corners(scene);
  EXPECT_GT(seen.size(), 40u);
  EXPECT_LT(corner_errors(seen, scene, 1).rms, 0.1);
  scene.cards[0].curl_per_mm = 0;
  EXPECT_GT(corner_errors(seen, scene, 1).rms, 0.5);
}

}  // namespace
}  // namespace interstice::renderer
