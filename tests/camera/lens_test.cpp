#include "camera/lens.h"

#include <gtest/gtest.h>

#include <memory>

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <random>

#include <nlohmann/json.hpp>

#include "camera/printed_card.h"

namespace interstice {
namespace {

using testing_support::thrown_by;

camera::Lens random_lens(std::mt19937& random) {
  std::uniform_real_distribution<double> unit(-1, 1);
  camera::Lens lens = camera::plain_lens(4032, 3024, 3000 + 800 * unit(random));
  lens.fy *= 1 + 0.01 * unit(random);
  lens.cx += 60 * unit(random);
  lens.cy += 60 * unit(random);
  lens.k1 = 0.12 * unit(random);
  lens.k2 = 0.12 * unit(random);
  lens.k3 = 0.05 * unit(random);
  lens.p1 = 0.002 * unit(random);
  lens.p2 = 0.002 * unit(random);
  return lens;
}

bool usable(const camera::Lens& lens) {
  return thrown_by<core::InputError>([&] { lens.check("x"); }) == "nothing thrown";
}

// Law: undistort inverts project, over the whole frame of any lens check() accepts.
TEST(Lens, ProjectAndUndistortAreInverse) {
  std::mt19937 random(1);
  std::uniform_real_distribution<double> part(0, 1);
  int lenses = 0;
  for (int n = 0; n < 200; ++n) {
    const camera::Lens lens = random_lens(random);
    if (!usable(lens)) continue;
    ++lenses;
    for (int i = 0; i < 50; ++i) {
      const Eigen::Vector2d pixel(part(random) * (lens.width - 1), part(random) * (lens.height - 1));
      const Eigen::Vector3d ray = lens.undistort(pixel);
      ASSERT_TRUE(ray.allFinite());
      ASSERT_NEAR(ray.norm(), 1, 1e-15);
      ASSERT_LT((lens.project(ray * (100 + 900 * part(random))) - pixel).norm(), 1e-8);
    }
  }
  EXPECT_GT(lenses, 100);
}

// Two independent computations: OpenCV's projection of the same points.
TEST(Lens, ProjectsAsOpenCvDoes) {
  std::mt19937 random(2);
  std::uniform_real_distribution<double> unit(-1, 1);
  double distortion = 0;
  for (int n = 0; n < 100; ++n) {
    const camera::Lens lens = random_lens(random);
    const Eigen::Vector3d p(0.45 * unit(random), 0.35 * unit(random), 1);
    const cv::Matx33d k(lens.fx, 0, lens.cx, 0, lens.fy, lens.cy, 0, 0, 1);
    const cv::Vec<double, 5> d(lens.k1, lens.k2, lens.p1, lens.p2, lens.k3);
    std::vector<cv::Point2d> out;
    cv::projectPoints(std::vector<cv::Point3d>{{p.x(), p.y(), p.z()}}, cv::Vec3d(), cv::Vec3d(), k, d, out);
    EXPECT_NEAR(lens.project(p).x(), out[0].x, 1e-9);
    EXPECT_NEAR(lens.project(p).y(), out[0].y, 1e-9);
    const camera::Lens plain = camera::plain_lens(lens.width, lens.height, lens.fx);
    distortion = std::max(distortion, (lens.project(p) - plain.project(p)).norm());
  }
  EXPECT_GT(distortion, 20);  // the distortion was really there
}

TEST(Lens, GivesNoPixelBehindTheCameraOrBeyondTheFold) {
  camera::Lens lens = camera::plain_lens(2000, 1500, 1500);
  EXPECT_FALSE(lens.project({0, 0, 0}).allFinite());
  EXPECT_FALSE(lens.project({1, 1, -2}).allFinite());
  EXPECT_TRUE(std::isinf(lens.domain()));
  lens.k1 = -0.2;
  // d(r + k1 r^3)/dr = 0 at r = 1 / sqrt(0.6).
  EXPECT_NEAR(lens.domain(), 1 / std::sqrt(0.6), 1e-12);
  EXPECT_TRUE(lens.project({lens.domain() - 1e-6, 0, 1}).allFinite());
  EXPECT_FALSE(lens.project({lens.domain() + 1e-6, 0, 1}).allFinite());
  // The largest slope it can show is r + k1 r^3 there; no ray meets a pixel beyond.
  const double edge = lens.domain() * (1 + lens.k1 * lens.domain() * lens.domain());
  EXPECT_TRUE(lens.undistort({lens.cx + 1500 * (edge - 1e-4), lens.cy}).allFinite());
  EXPECT_FALSE(lens.undistort({lens.cx + 1500 * (edge + 1e-4), lens.cy}).allFinite());
}

// Law: scaling a lens by s moves every pixel as the picture does, (u + 1/2) s - 1/2.
// Cubic B-splines sum to 1 everywhere and reproduce straight lines (Marsden's identity, from memory).
TEST(ShiftField, ConstantsAndSlopesComeOutAsTheyAre) {
  camera::ShiftField field(1600, 1200, 8);
  for (Eigen::Index i = 0; i < field.coefficients(); ++i) {
    const double column = static_cast<double>(i % field.columns()),
                 row = static_cast<double>(i / field.columns());
    field.shifts().row(i) << 0.25, 0.01 * (column - 1) * field.cell_px() - 0.02 * (row - 1) * field.cell_px();
  }
  for (const Eigen::Vector2d& pixel :
       {Eigen::Vector2d(0, 0), {1599, 1199}, {1, 1198}, {812.3, 455.1}, {200, 600}}) {
    const Eigen::Vector2d got = field.at(pixel);
    EXPECT_NEAR(got.x(), 0.25, 1e-12);
    EXPECT_NEAR(got.y(), 0.01 * (pixel.x() + 0.5) - 0.02 * (pixel.y() + 0.5), 1e-9);
  }
}

// With rows that shift and a field on top, a pixel's ray still comes back to the pixel, at every size.
TEST(ShiftField, ShiftedPixelsAndRaysAreInverse) {
  camera::Lens lens = camera::plain_lens(2000, 1500, 1600);
  lens.k1 = 0.04;
  lens.row_shift_px = {1.5, -0.8};
  camera::ShiftField field(2000, 1500, 12);
  for (Eigen::Index i = 0; i < field.coefficients(); ++i)
    field.shifts().row(i) << std::sin(1.3 * static_cast<double>(i)), std::cos(0.7 * static_cast<double>(i));
  lens.residual = std::make_shared<const camera::ShiftField>(field);
  const camera::Lens half = lens.scaled_to(1000, 750);
  for (const Eigen::Vector2d& pixel : {Eigen::Vector2d(3, 4), {1000, 750}, {1990, 1400}, {612, 1111}}) {
    const Eigen::Vector3d ray = lens.undistort(pixel);
    EXPECT_LT((lens.project(ray) - pixel).norm(), 1e-5);
    const Eigen::Vector2d small = (pixel + Eigen::Vector2d(0.5, 0.5)) / 2 - Eigen::Vector2d(0.5, 0.5);
    EXPECT_LT((half.project(ray) - small).norm(), 1e-5);
  }
}

TEST(Lens, ScalingActsOnPixelsAsResizingDoes) {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> unit(-1, 1);
  camera::Lens lens = random_lens(random);
  const camera::Lens half = lens.scaled_to(2016, 1512);
  for (int i = 0; i < 50; ++i) {
    const Eigen::Vector3d p(0.4 * unit(random), 0.3 * unit(random), 1);
    const Eigen::Vector2d u = lens.project(p);
    EXPECT_LT(((u.array() + 0.5) / 2 - 0.5 - half.project(p).array()).matrix().norm(), 1e-9);
  }
  const camera::Lens back = half.scaled_to(4032, 3024);
  EXPECT_LT((back.parameters() - lens.parameters()).norm(), 1e-9);
  lens.sd.setOnes();
  EXPECT_DOUBLE_EQ(lens.scaled_to(2016, 1512).sd[0], 0.5);
  EXPECT_DOUBLE_EQ(lens.scaled_to(2016, 1512).sd[4], 1);
}

TEST(Lens, RefusesOtherAspectsAndSwappedSides) {
  const camera::Lens lens = camera::plain_lens(4032, 3024, 3000);
  EXPECT_EQ(lens.scaled_to(2851, 2138).width, 2851);  // 2138.25 rounded to a whole pixel
  EXPECT_NE(thrown_by<core::InputError>([&] { lens.scaled_to(1512, 2016); }).find("swapped"),
            std::string::npos);
  EXPECT_NE(thrown_by<core::InputError>([&] { lens.scaled_to(4032, 2268); }).find("aspect"),
            std::string::npos);
}

camera::Lens sample_lens() {
  std::mt19937 random(4);
  camera::Lens lens = random_lens(random);
  lens.k1 = 0.05, lens.k2 = -0.11, lens.k3 = 0.06;
  lens.camera = "Wader W1";
  camera::LensMatrix a = camera::LensMatrix::Random();
  lens.set_covariance(1e-6 * (a * a.transpose() + camera::LensMatrix::Identity()));
  lens.rms_px = 0.04;
  lens.coverage = 0.5;
  lens.photos_used = 13;
  return lens;
}

TEST(LensFile, WritingWhatWasReadGivesTheSameBytes) {
  const camera::Lens lens = sample_lens();
  const std::string text = camera::write_lens(lens);
  const camera::Lens read = camera::parse_lens(text, "a.lens.json");
  EXPECT_EQ(camera::write_lens(read), text);
  EXPECT_EQ(read.parameters(), lens.parameters());
  EXPECT_LT((read.covariance() - lens.covariance()).norm(), 1e-15);
}

// Property: a file cut off anywhere is refused by one line that names it.
TEST(LensFile, CutAtEveryByteIsRefused) {
  const std::string text = camera::write_lens(sample_lens());
  for (std::size_t n = 0; n + 2 < text.size(); ++n) {
    const std::string line =
        thrown_by<core::InputError>([&] { camera::parse_lens(text.substr(0, n), "cut.lens.json"); });
    ASSERT_EQ(line.rfind("cut.lens.json: ", 0), 0u) << n << ": " << line;
  }
}

TEST(LensFile, AbsurdNumbersAreRefusedByName) {
  const auto with = [](const char* key, const nlohmann::json& value) {
    nlohmann::json doc = nlohmann::json::parse(camera::write_lens(sample_lens()));
    doc[key] = value;
    return thrown_by<core::InputError>([&] { camera::parse_lens(doc.dump(), "f"); });
  };
  EXPECT_EQ(with("camera", "W1"), "nothing thrown");
  EXPECT_NE(with("format", "other").find("format"), std::string::npos);
  EXPECT_NE(with("fx", 3).find("focal"), std::string::npos);
  EXPECT_NE(with("fx", "wide").find("fx"), std::string::npos);
  EXPECT_NE(with("cx", 9000).find("principal point"), std::string::npos);
  EXPECT_NE(with("width", 0).find("width"), std::string::npos);
  EXPECT_NE(with("k1", -2).find("folds over"), std::string::npos);
  EXPECT_NE(with("correlation", {1, 2}).find("correlation"), std::string::npos);
}

}  // namespace
}  // namespace interstice
