// Colours between pixels: four channels at a time are the plain mean, to the last bit.
#include "surface/pictures.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <opencv2/core.hpp>

namespace interstice {
namespace {

cv::Vec3f plain_colour(const cv::Mat& colour, double x, double y) {
  const int ix = static_cast<int>(x), iy = static_cast<int>(y);
  const float fx = static_cast<float>(x - ix), fy = static_cast<float>(y - iy);
  const auto at = [&](int row, int column, int c) {
    return static_cast<float>(colour.at<cv::Vec3b>(iy + row, ix + column)[c]);
  };
  cv::Vec3f out;
  for (int c = 0; c < 3; ++c) {
    out[c] = (1 - fy) * ((1 - fx) * at(0, 0, c) + fx * at(0, 1, c)) +
             fy * ((1 - fx) * at(1, 0, c) + fx * at(1, 1, c));
  }
  return out;
}

TEST(SampleColour, IsThePlainMeanToTheLastBit) {
  cv::Mat picture(37, 53, CV_8UC3);
  cv::RNG random(3);
  random.fill(picture, cv::RNG::UNIFORM, 0, 256);
  for (int k = 0; k < 20000; ++k) {
    const double x = random.uniform(0.0, 51.999), y = random.uniform(0.0, 35.999);
    const cv::Vec3f one = plain_colour(picture, x, y), other = surface::sample_colour(picture, x, y);
    ASSERT_EQ(std::memcmp(one.val, other.val, sizeof one.val), 0) << x << " " << y;
  }
  // Up to the last pixel, and nothing beyond it.
  EXPECT_EQ(surface::sample_colour(picture, 51, 35), cv::Vec3f(picture.at<cv::Vec3b>(35, 51)));
  EXPECT_TRUE(std::isnan(surface::sample_colour(picture, 52, 20)[0]));
  EXPECT_TRUE(std::isnan(surface::sample_colour(picture, 20, 36)[2]));
}

}  // namespace
}  // namespace interstice
