// Which photos are carried with fewer pixels than their files hold.
#include "scan/carried_size.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "camera/printed_card.h"

namespace interstice {
namespace {

camera::PhotoInfo sized(int width, int height) {
  camera::PhotoInfo info;
  info.width = width, info.height = height;
  return info;
}

// Share of the information on an edge's place beyond what a k-th of the pixels hold, by adding up the squared spectrum.
double lost_by_sum(double spread_px, int k) {
  double kept = 0, lost = 0;
  for (double f = 0.0005; f < 4; f += 0.001) {
    const double power = std::exp(-std::pow(2 * std::numbers::pi * spread_px * f, 2));
    (f < 0.5 / k ? kept : lost) += power;
  }
  return lost / (kept + lost);
}

TEST(CarriedSize, NoMoreThanAFifthOfWhatEdgesTellIsLost) {
  const camera::PhotoInfo large = sized(8064, 6048), huge = sized(16320, 12240);
  for (double spread = 0.3; spread < 4; spread += 0.05) {
    const int k = scan::resolved_reduction(huge, spread);
    if (k > 1) {
      EXPECT_LE(lost_by_sum(spread, k), 0.201) << spread;
    }
    if (k < 4) {
      EXPECT_GE(lost_by_sum(spread, 2 * k), 0.199) << spread;
    }
    EXPECT_EQ(scan::resolved_reduction(large, spread), std::min(2, k));  // at least four megapixels are left
  }
  EXPECT_EQ(scan::resolved_reduction(large, 0.5), 1);
  EXPECT_EQ(scan::resolved_reduction(large, 1.0), 2);
  EXPECT_EQ(scan::resolved_reduction(large, std::nullopt), 1);
}

TEST(CarriedSize, SmallPhotosAreCarriedWhole) {
  EXPECT_EQ(scan::resolved_reduction(sized(4032, 3024), 3.0), 1);  // 12 megapixels
  EXPECT_EQ(scan::resolved_reduction(sized(4000, 3000), 9.0), 1);
  EXPECT_EQ(scan::resolved_reduction(sized(8065, 6048), 1.5), 1);  // an odd side cannot be halved
}

// Photos of sixteen megapixels, drawn by two cameras: one that smears over four pixels, one that is sharp.
TEST(CarriedSize, ALensIsJudgedByItsPhotosEdges) {
  using namespace testing_support;
  const TemporaryFolder folder;
  const camera::Lens lens = camera::plain_lens(1160, 870, 900);
  const cv::Mat cards = draw_cards(
      lens,
      {place_card(lens, 1, {330, 400}, 260, 20, 40, 23), place_card(lens, 2, {830, 430}, 260, 25, 200, -71)},
      3);
  cv::Mat smeared, sharp;
  cv::resize(cards, smeared, {}, 4, 4, cv::INTER_CUBIC);
  cv::resize(cards, sharp, {}, 4, 4, cv::INTER_NEAREST);
  cv::threshold(smeared, sharp, 128, 255, cv::THRESH_BINARY);
  cv::resize(sharp, sharp, {4656, 3480}, 0, 0, cv::INTER_NEAREST);  // another size: another lens
  cv::imwrite((folder / "a.jpg").string(), smeared, {cv::IMWRITE_JPEG_QUALITY, 90});
  cv::imwrite((folder / "b.jpg").string(), sharp, {cv::IMWRITE_JPEG_QUALITY, 95});
  cv::imwrite((folder / "c.jpg").string(), cards);
  std::vector<std::optional<camera::PhotoInfo>> photos;
  for (const char* name : {"a.jpg", "b.jpg", "c.jpg"})
    photos.push_back(camera::read_photo_info(folder / name));
  photos.push_back(std::nullopt);
  const std::string note = scan::carry_resolved_pixels(photos, nullptr, 2);
  EXPECT_EQ(photos[0]->reduced, 2);
  EXPECT_EQ(photos[0]->width, 2320);
  EXPECT_EQ(photos[1]->reduced, 1);
  EXPECT_EQ(photos[2]->reduced, 1);
  EXPECT_EQ(photos[2]->width, 1160);
  EXPECT_EQ(note,
            "photos of 4640 x 3480 pixels resolve no more than 2320 x 1740 hold, and are measured in those");
}

}  // namespace
}  // namespace interstice
