// The spread of a card's edges against blurs put on exact pictures, and pictures carried reduced.
#include "camera/edge_spread.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "camera/photo.h"
#include "camera/printed_card.h"

namespace interstice {
namespace {

using namespace testing_support;

camera::Lens spread_lens() {
  camera::Lens lens = camera::plain_lens(1400, 1050, 1050);
  lens.k1 = 0.05, lens.k2 = -0.1;
  return lens;
}

cv::Mat exact_cards(const camera::Lens& lens) {
  return draw_cards(lens, {place_card(lens, 1, {420, 520}, 260, 20, 40, 23),
                           place_card(lens, 2, {1030, 500}, 280, 35, 200, -71)});
}

cv::Mat blurred_and_noisy(const cv::Mat& exact, double blur_px, double noise) {
  cv::Mat picture, speckle(exact.size(), CV_32F), out;
  exact.convertTo(picture, CV_32F);
  if (blur_px > 0) cv::GaussianBlur(picture, picture, cv::Size(), blur_px);
  cv::RNG(5).fill(speckle, cv::RNG::NORMAL, 0, noise);
  picture += speckle;
  picture.convertTo(out, CV_8U);
  return out;
}

double spread_of(const cv::Mat& grey) {
  return camera::edge_spread_px(grey, camera::detect_cards(grey)).value_or(-1);
}

// Variances of smears that follow one another add up: the pixel's area (a square of one pixel has 1/12 along
// either side, and along any direction) and the blur.
TEST(EdgeSpread, IsTheBlurOfTheOpticsAndThePixel) {
  const camera::Lens lens = camera::plain_lens(1400, 1050, 1400);
  const cv::Mat exact = draw_cards(lens, {place_card(lens, 1, {700, 520}, 260, 10, 40, 11)});
  for (const double blur_px : {0.8, 1.2, 1.8}) {
    const double expected = std::sqrt(blur_px * blur_px + 1.0 / 12);
    EXPECT_NEAR(spread_of(blurred_and_noisy(exact, blur_px, 1)), expected, 0.05 * expected) << blur_px;
  }
  EXPECT_LT(spread_of(exact), 0.4);  // a square's own spread is 0.29
}

TEST(EdgeSpread, NothingIsSaidWithoutEdges) {
  const cv::Mat empty(600, 800, CV_8U, cv::Scalar(120));
  EXPECT_FALSE(camera::edge_spread_px(empty, camera::detect_cards(empty)).has_value());
  const cv::Mat cards = exact_cards(spread_lens());
  camera::CardView few = camera::detect_cards(cards).front();
  few.corner_id.resize(6), few.pixel.resize(6), few.sd_px.resize(6);
  EXPECT_FALSE(camera::edge_spread_px(cards, {few}).has_value());
}

// Of the corners of a reduced picture, in pixels of the file, against those of the whole one: RMS and mean.
struct Agreement {
  int corners = 0;
  double rms_px = 0;
  Eigen::Vector2d mean_px{0, 0};
};

Agreement agreement(const std::vector<camera::CardView>& whole,
                    const std::vector<camera::CardView>& reduced) {
  Agreement out;
  const Eigen::Vector2d half_px(0.5, 0.5);
  for (std::size_t c = 0; c < std::min(whole.size(), reduced.size()); ++c) {
    const camera::CardView &a = whole[c], &b = reduced[c];
    for (std::size_t i = 0; i < b.corner_id.size(); ++i) {
      const auto at = std::find(a.corner_id.begin(), a.corner_id.end(), b.corner_id[i]);
      if (at == a.corner_id.end()) continue;
      const Eigen::Vector2d e =
          2 * (b.pixel[i] + half_px) - half_px - a.pixel[static_cast<std::size_t>(at - a.corner_id.begin())];
      out.rms_px += e.squaredNorm(), out.mean_px += e, ++out.corners;
    }
  }
  out.rms_px = std::sqrt(out.rms_px / std::max(1, out.corners));
  out.mean_px /= std::max(1, out.corners);
  return out;
}

// A picture carried at half its sides shows the same corners, in pixels of the file, down to the spread (0.58 px)
// from which on pictures are halved.
TEST(ReducedPhoto, ShowsTheSamePlacesOfTheFile) {
  const TemporaryFolder folder;
  const cv::Mat exact = exact_cards(spread_lens());
  for (const double blur_px : {0.5, 1.2}) {
    const cv::Mat picture = blurred_and_noisy(exact, blur_px, 2);
    for (const char* name : {"a.jpg", "a.png"}) {
      cv::imwrite((folder / name).string(), picture, {cv::IMWRITE_JPEG_QUALITY, 95});
      const camera::PhotoInfo whole = camera::read_photo_info(folder / name);
      const camera::PhotoInfo half = camera::reduced_photo(whole, 2);
      EXPECT_EQ(half.file_width(), 1400);
      EXPECT_EQ(half.file_height(), 1050);
      const cv::Mat small = camera::read_photo_grey(half);
      ASSERT_EQ(small.size(), cv::Size(700, 525));
      EXPECT_EQ(camera::read_photo_colour(half).size(), small.size());
      const Agreement a =
          agreement(camera::detect_cards(camera::read_photo_grey(whole)), camera::detect_cards(small));
      EXPECT_GT(a.corners, 40) << name;
      EXPECT_LT(a.rms_px, 0.12) << name << blur_px;
      EXPECT_LT(a.mean_px.norm(), 0.03) << name << blur_px;
    }
  }
}

}  // namespace
}  // namespace interstice
