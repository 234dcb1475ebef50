// A profile is the mean of the picture's samples along its rows, to the last bit, wherever it lies.
#include "edges/edge_profiles.h"

#include <gtest/gtest.h>

#include <bit>
#include <cmath>
#include <opencv2/core.hpp>
#include <random>

namespace interstice {
namespace {

using Eigen::Vector2d;

constexpr double kProfileFirst_mm = -3, kProfileStep_mm = 0.13, kProfileAcross_mm = 0.75;
constexpr std::size_t kProfileCount = 45;

surface::Picture noise_picture(int width, int height) {
  surface::Picture picture;
  picture.grey = cv::Mat(height, width, CV_8U);
  picture.colour = cv::Mat(height, width, CV_8UC3);
  cv::RNG random(5);
  random.fill(picture.grey, cv::RNG::UNIFORM, 0, 256);
  random.fill(picture.colour, cv::RNG::UNIFORM, 0, 256);
  return picture;
}

// Calls use(offset, place of a sample, rows) for every sample, in order.
template <class Use>
void for_samples(const edges::OutlineView& view, const Use& use) {
  const int rows = std::max(1, static_cast<int>(std::lround(kProfileAcross_mm * view.per_mm_tangent.norm())));
  for (std::size_t k = 0; k < kProfileCount; ++k) {
    const Vector2d middle =
        view.at + (kProfileFirst_mm + static_cast<double>(k) * kProfileStep_mm) * view.per_mm_normal;
    for (int r = 0; r < rows; ++r)
      use(k, Vector2d(middle + kProfileAcross_mm * ((r + 0.5) / rows - 0.5) * view.per_mm_tangent), rows);
  }
}

std::vector<float> grey_of(const surface::Picture& picture, const edges::OutlineView& view) {
  std::vector<float> sum(kProfileCount, 0);
  int all = 1;
  for_samples(view, [&](std::size_t k, const Vector2d& q, int rows) {
    sum[k] += surface::sample(picture.grey, q.x(), q.y());
    all = rows;
  });
  for (float& x : sum) x /= static_cast<float>(all);
  return sum;
}

edges::ColourProfile colours_of(const surface::Picture& picture, const edges::OutlineView& view) {
  std::vector<cv::Vec3f> sum(kProfileCount, cv::Vec3f(0, 0, 0));
  int all = 1;
  for_samples(view, [&](std::size_t k, const Vector2d& q, int rows) {
    sum[k] += surface::sample_colour(picture.colour, q.x(), q.y());
    all = rows;
  });
  edges::ColourProfile out;
  for (const cv::Vec3f& s : sum) {
    const float blue = s[0] / static_cast<float>(all), green = s[1] / static_cast<float>(all),
                red = s[2] / static_cast<float>(all);
    out[0].push_back(0.299f * red + 0.587f * green + 0.114f * blue);
    out[1].push_back(red - green);
    out[2].push_back((red + green) / 2 - blue);
  }
  return out;
}

void expect_same(const std::vector<float>& one, const std::vector<float>& other) {
  ASSERT_EQ(one.size(), other.size());
  for (std::size_t k = 0; k < one.size(); ++k) {
    if (std::isnan(other[k])) {
      ASSERT_TRUE(std::isnan(one[k])) << k;
    } else {
      ASSERT_EQ(std::bit_cast<unsigned>(one[k]), std::bit_cast<unsigned>(other[k])) << k;
    }
  }
}

TEST(Profiles, AreTheMeanOfTheirSamplesToTheLastBit) {
  const surface::Picture picture = noise_picture(101, 67);
  std::mt19937 random(1);
  std::uniform_real_distribution<double> share(0, 1), size(-6, 6);
  int whole = 0, cut = 0;
  for (int n = 0; n < 600; ++n) {
    edges::OutlineView view;
    view.at = {101 * share(random), 67 * share(random)};
    view.per_mm_normal = {size(random), size(random)};
    view.per_mm_tangent = {size(random), size(random)};
    std::vector<float> grey(kProfileCount);
    edges::ColourProfile colours;
    edges::read_profile(picture, view, kProfileFirst_mm, kProfileStep_mm, kProfileAcross_mm, grey);
    edges::read_colour_profile(picture, view, kProfileFirst_mm, kProfileStep_mm, kProfileAcross_mm,
                               kProfileCount, colours);
    expect_same(grey, grey_of(picture, view));
    const edges::ColourProfile expected = colours_of(picture, view);
    for (std::size_t c = 0; c < expected.size(); ++c) expect_same(colours[c], expected[c]);
    const bool inside = std::all_of(grey.begin(), grey.end(), [](float x) { return std::isfinite(x); });
    (inside ? whole : cut) += 1;
  }
  EXPECT_GT(whole, 100);
  EXPECT_GT(cut, 100);
}

}  // namespace
}  // namespace interstice
