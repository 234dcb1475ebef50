#include "scan/kept_bytes.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace interstice::scan {
namespace {

std::vector<camera::CardView> some_cards() {
  std::vector<camera::CardView> cards(2);
  for (int k = 0; k < 2; ++k) {
    cards[static_cast<std::size_t>(k)].card = 3 * k + 1;
    for (int i = 0; i < 20; ++i) {
      cards[static_cast<std::size_t>(k)].corner_id.push_back(i);
      cards[static_cast<std::size_t>(k)].pixel.emplace_back(std::sqrt(2.0 + i), 1e3 / (1 + i));
      cards[static_cast<std::size_t>(k)].sd_px.push_back(0.1 + 1e-17 * i + i / 3.0);
    }
  }
  return cards;
}

Features some_features(int count) {
  std::mt19937 random(7);
  Features out;
  out.descriptors.create(count, 128, CV_8U);
  for (int i = 0; i < count; ++i) {
    out.pixel.emplace_back(static_cast<double>(random()) / 1e6, static_cast<double>(random()) / 1e7);
    out.sd_px.push_back(0.2 + i / 7.0);
    out.strength.push_back(static_cast<float>(i) / 3);
    for (int k = 0; k < 128; ++k)
      out.descriptors.at<std::uint8_t>(i, k) = static_cast<std::uint8_t>(random());
  }
  return out;
}

TEST(KeptBytesTest, ComeBackToTheLastBit) {
  const auto cards = some_cards();
  const auto read = cards_from_bytes(bytes_of(cards));
  ASSERT_TRUE(read.has_value());
  EXPECT_EQ(bytes_of(*read), bytes_of(cards));
  EXPECT_EQ((*read)[1].card, cards[1].card);
  EXPECT_EQ((*read)[1].pixel, cards[1].pixel);
  EXPECT_EQ((*read)[1].sd_px, cards[1].sd_px);
  const Features features = some_features(50);
  const auto same = features_from_bytes(bytes_of(features));
  ASSERT_TRUE(same.has_value());
  EXPECT_EQ(same->pixel, features.pixel);
  EXPECT_EQ(same->sd_px, features.sd_px);
  EXPECT_EQ(same->strength, features.strength);
  EXPECT_EQ(cv::norm(same->descriptors, features.descriptors), 0);
}

TEST(KeptBytesTest, NoneAndEmptyAreTold) {
  EXPECT_EQ(cards_from_bytes(bytes_of(std::vector<camera::CardView>()))->size(), 0u);
  EXPECT_EQ(features_from_bytes(bytes_of(some_features(0)))->pixel.size(), 0u);
  EXPECT_FALSE(cards_from_bytes("").has_value());
  EXPECT_FALSE(features_from_bytes("abc").has_value());
}

// Whatever the bytes are: nothing, or something whose counts fit together.
TEST(KeptBytesTest, ForeignBytesAreNeverMoreThanTheySay) {
  const std::string cards = bytes_of(some_cards()), features = bytes_of(some_features(5));
  for (std::size_t size = 0; size < cards.size(); ++size)
    EXPECT_FALSE(cards_from_bytes(cards.substr(0, size)).has_value()) << size;
  for (std::size_t size = 0; size < features.size(); ++size)
    EXPECT_FALSE(features_from_bytes(features.substr(0, size)).has_value()) << size;
  std::mt19937 random(3);
  for (int round = 0; round < 3000; ++round) {
    std::string a = cards, b = features;
    for (int k = 0; k < 4; ++k) {
      a[random() % (round % 2 ? 12 : a.size())] = static_cast<char>(random());
      b[random() % (round % 2 ? 12 : b.size())] = static_cast<char>(random());
    }
    if (const auto read = cards_from_bytes(a)) {
      for (const camera::CardView& card : *read) {
        ASSERT_EQ(card.corner_id.size(), card.pixel.size());
        ASSERT_EQ(card.corner_id.size(), card.sd_px.size());
        for (const Eigen::Vector2d& p : card.pixel) ASSERT_TRUE(p.allFinite());
      }
    }
    if (const auto read = features_from_bytes(b)) {
      ASSERT_EQ(read->pixel.size(), static_cast<std::size_t>(read->descriptors.rows));
      ASSERT_EQ(read->pixel.size(), read->strength.size());
    }
  }
}

}  // namespace
}  // namespace interstice::scan
