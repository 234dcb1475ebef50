#include "camera/calibration.h"

#include <gtest/gtest.h>

#include <opencv2/calib3d.hpp>
#include <random>

#include "camera/cards.h"
#include "camera/printed_card.h"
#include "core/errors.h"

namespace interstice {
namespace {

using namespace testing_support;

camera::Lens true_lens() {
  camera::Lens lens = camera::plain_lens(2016, 1512, 1510);
  lens.fy = 1512.5;
  lens.cx = 1003.2, lens.cy = 761.9;
  lens.k1 = 0.06, lens.k2 = -0.13, lens.p1 = 0.0006, lens.p2 = -0.0005, lens.k3 = 0.05;
  return lens;
}

struct Shot {
  Eigen::Vector2d pixel;
  double distance_mm, tilt_deg, towards_deg, turn_deg;
};

std::vector<Shot> good_shots() {
  std::vector<Shot> shots;
  for (int n = 0; n < 12; ++n) {
    shots.push_back({{500 + 330.0 * (n % 4), 420 + 340.0 * (n % 3)},
                     300 + 20.0 * n,
                     n % 5 ? 35.0 : 5.0,
                     67.0 * n,
                     90.0 * (n % 4)});
  }
  return shots;
}

// Corners of true places with Gaussian noise; those outside the frame are not seen.
std::vector<camera::CalibrationView> shoot(const camera::Lens& lens, const std::vector<Shot>& shots,
                                           double noise_px, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal(0, 1);
  std::vector<camera::CalibrationView> views;
  for (std::size_t n = 0; n < shots.size(); ++n) {
    const Shot& s = shots[n];
    const PlacedCard placed =
        place_card(lens, 1, s.pixel, s.distance_mm, s.tilt_deg, s.towards_deg, s.turn_deg);
    camera::CalibrationView view;
    view.photo = "photo_" + std::to_string(n);
    for (int id = 0; id < camera::kCornersPerCard; ++id) {
      const Eigen::Vector2d p = true_corner(lens, placed, id);
      if (!lens.in_frame(p)) continue;
      view.object_mm.push_back(camera::card_point(id).head<2>());
      view.pixel.push_back(p + noise_px * Eigen::Vector2d(normal(random), normal(random)));
    }
    views.push_back(view);
  }
  return views;
}

TEST(Calibration, ExactCornersGiveTheLensBack) {
  const camera::Lens lens = true_lens();
  for (const double start : {1200.0, 1510.0, 2100.0}) {
    const camera::Calibration c = camera::calibrate(2016, 1512, start, shoot(lens, good_shots(), 0, 1));
    const camera::LensVector off = (c.lens.parameters() - lens.parameters()).cwiseAbs();
    EXPECT_LT(off.head<4>().maxCoeff(), 1e-5);
    EXPECT_LT(off.tail<5>().maxCoeff(), 1e-7);
    EXPECT_LT(c.lens.rms_px, 1e-6);
    EXPECT_EQ(c.lens.photos_used, 12);
    EXPECT_EQ(c.held_at_zero, 0);
  }
}

// Law: over many draws of noise the errors are as large as the standard deviations say (chi-square, 9 x 40
// values that hang together: wide bounds), and free of bias.
TEST(Calibration, StandardDeviationsAreTrue) {
  const camera::Lens lens = true_lens();
  double focal_chi2 = 0, all_chi2 = 0, focal_bias = 0;
  constexpr int kDraws = 40;
  for (unsigned seed = 0; seed < kDraws; ++seed) {
    const camera::Calibration c = camera::calibrate(2016, 1512, 1500, shoot(lens, good_shots(), 0.1, seed));
    const camera::LensVector z = (c.lens.parameters() - lens.parameters()).cwiseQuotient(c.lens.sd);
    focal_chi2 += z[0] * z[0] / kDraws;
    focal_bias += z[0] / kDraws;
    const camera::LensVector off = c.lens.parameters() - lens.parameters();
    all_chi2 += off.dot(c.lens.covariance().ldlt().solve(off)) / (9 * kDraws);
    EXPECT_NEAR(c.lens.rms_px, 0.1 * std::sqrt(2), 0.02);
  }
  EXPECT_NEAR(focal_chi2, 1, 0.7);       // sd of a mean of 40 squares: 0.22
  EXPECT_NEAR(all_chi2, 1, 0.25);        // 360 values: 0.075
  EXPECT_LT(std::abs(focal_bias), 0.5);  // 0.16
}

// Two independent computations of the same least-squares problem.
TEST(Calibration, AgreesWithOpenCv) {
  const std::vector<camera::CalibrationView> views = shoot(true_lens(), good_shots(), 0.2, 7);
  camera::CalibrationOptions options;
  options.leave_out = false;
  const camera::Calibration c = camera::calibrate(2016, 1512, 1500, views, options);
  std::vector<std::vector<cv::Point3f>> object;
  std::vector<std::vector<cv::Point2f>> image;
  for (const camera::CalibrationView& v : views) {
    object.emplace_back();
    image.emplace_back();
    for (std::size_t i = 0; i < v.pixel.size(); ++i) {
      object.back().emplace_back(static_cast<float>(v.object_mm[i].x()),
                                 static_cast<float>(v.object_mm[i].y()), 0.f);
      image.back().emplace_back(static_cast<float>(v.pixel[i].x()), static_cast<float>(v.pixel[i].y()));
    }
  }
  cv::Mat k, d, sd, sd_ext, per_view;
  std::vector<cv::Mat> r, t;
  const double rms =
      cv::calibrateCamera(object, image, {2016, 1512}, k, d, r, t, sd, sd_ext, per_view, 0,
                          cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 300, 1e-14));
  EXPECT_NEAR(c.lens.rms_px, rms, 1e-5);
  EXPECT_NEAR(c.lens.fx, k.at<double>(0, 0), 1e-2);
  EXPECT_NEAR(c.lens.fy, k.at<double>(1, 1), 1e-2);
  EXPECT_NEAR(c.lens.cx, k.at<double>(0, 2), 1e-2);
  EXPECT_NEAR(c.lens.cy, k.at<double>(1, 2), 1e-2);
  for (int i = 0; i < 5; ++i) EXPECT_NEAR(c.lens.parameters()[4 + i], d.at<double>(i), 2e-4) << i;
  // OpenCV 4.6 counts a corner as one measurement, not two, when it scales its standard deviations.
  const double n = c.corners_used, unknowns = 9 + 6 * 12;
  const double own = std::sqrt((n - unknowns) / (2 * n - unknowns));
  for (int i = 0; i < 9; ++i) EXPECT_NEAR(c.lens.sd[i], own * sd.at<double>(i), 0.01 * c.lens.sd[i]) << i;
}

TEST(Calibration, WrongCornersAreLeftOut) {
  const camera::Lens lens = true_lens();
  std::vector<camera::CalibrationView> views = shoot(lens, good_shots(), 0.05, 3);
  std::mt19937 random(5);
  std::uniform_real_distribution<double> unit(-1, 1);
  int spoiled = 0;
  for (auto& view : views) {
    for (std::size_t i = 2; i < view.pixel.size(); i += 9, ++spoiled)
      view.pixel[i] += Eigen::Vector2d(3 + unit(random), 5 * unit(random));
  }
  const camera::Calibration c = camera::calibrate(2016, 1512, 1500, views);
  EXPECT_LT(std::abs(c.lens.fx / lens.fx - 1), 1e-3);
  EXPECT_LT(std::abs(c.lens.cx - lens.cx), 2);
  int left_out = 0;
  for (const camera::CalibratedView& v : c.views) left_out += v.corners_left_out;
  EXPECT_GE(left_out, spoiled);
  EXPECT_LE(left_out, spoiled + 3);
}

TEST(Calibration, ABentCardIsLeftOutAndNamed) {
  const camera::Lens lens = true_lens();
  std::vector<camera::CalibrationView> views = shoot(lens, good_shots(), 0.05, 4);
  for (std::size_t i = 0; i < views[3].pixel.size(); ++i)
    views[3].pixel[i].y() += 6 * std::sin(views[3].object_mm[i].x() / 20);
  const camera::Calibration c = camera::calibrate(2016, 1512, 1500, views);
  EXPECT_FALSE(c.views[3].used);
  EXPECT_NE(c.views[3].reason.find("flat card"), std::string::npos);
  EXPECT_EQ(c.lens.photos_used, 11);
  EXPECT_LT(std::abs(c.lens.fx / lens.fx - 1), 1e-3);
}

TEST(Calibration, RefusesTooFewPhotos) {
  std::vector<Shot> shots = good_shots();
  shots.resize(4);
  const std::string line = thrown_by<core::MeasureError>(
      [&] { camera::calibrate(2016, 1512, 1500, shoot(true_lens(), shots, 0.05, 1)); });
  EXPECT_EQ(line.rfind("only 4 usable photos", 0), 0u) << line;
}

// All views square on: the focal length trades against the distance. And the same pose again and again, and
// views that tilt by nearly nothing.
TEST(Calibration, RefusesViewsTooMuchAlike) {
  const auto refused = [](const std::vector<Shot>& shots, const camera::CalibrationOptions& options) {
    for (unsigned seed = 0; seed < 1; ++seed) {
      const std::string line = thrown_by<core::MeasureError>(
          [&] { camera::calibrate(2016, 1512, 1500, shoot(true_lens(), shots, 0.05, seed), options); });
      if (line.find("too alike") == std::string::npos) return std::string(line);
    }
    return std::string("refused");
  };
  std::vector<Shot> square_on, same;
  for (int n = 0; n < 10; ++n) {
    square_on.push_back({{900 + 30.0 * n, 800 - 20.0 * n}, 300 + 20.0 * n, 0, 0, 36.0 * n});
    same.push_back({{1000, 750}, 350, 3, 20, 0});
  }
  EXPECT_EQ(refused(square_on, {}), "refused");
  EXPECT_EQ(refused(same, {}), "refused");
  // Either limit alone would do.
  camera::CalibrationOptions focal_only, middle_only;
  focal_only.principal_sd_limit = middle_only.focal_sd_limit = 1e9;
  EXPECT_EQ(refused(square_on, focal_only), "refused");
  EXPECT_EQ(refused(same, middle_only), "refused");
}

TEST(Calibration, CoverageIsTheShareOfTheFrame) {
  camera::CalibrationView view;
  view.pixel = {{0, 0}, {999, 0}, {999, 799}, {0, 799}};
  EXPECT_NEAR(camera::frame_coverage(1000, 800, {view}), 1, 0.02);
  view.pixel = {{0, 0}, {499, 0}, {499, 799}, {0, 799}};
  EXPECT_NEAR(camera::frame_coverage(1000, 800, {view}), 0.5, 0.02);
  EXPECT_NEAR(camera::frame_coverage(1000, 800, {view, view}), 0.5, 0.02);
}

}  // namespace
}  // namespace interstice
