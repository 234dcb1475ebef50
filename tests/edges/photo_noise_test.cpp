// Photos that show edges less surely than others are told from what all pieces' readings are off.
#include "edges/photo_noise.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace interstice {
namespace {

constexpr std::size_t kNoisePhotos = 6;

// Readings of five pieces, those of photo 2 off by three times as much as they say.
std::vector<edges::TracedArris> pieces(unsigned seed, int readings) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  std::vector<edges::TracedArris> out(5);
  for (edges::TracedArris& piece : out) {
    for (std::size_t p = 0; p < kNoisePhotos; ++p) {
      for (int k = 0; k < readings; ++k) {
        edges::ArrisObservation o{};
        o.photo = geometry::PhotoIndex(p);
        o.sd_mm = 0.02 + 0.01 * static_cast<double>(p);
        o.residual_mm = o.sd_mm * normal(random) * (p == 2 ? 3 : 1);
        piece.observations.push_back(o);
      }
    }
  }
  return out;
}

edges::PhotoNoise noise_of(const std::vector<edges::TracedArris>& traced) {
  std::vector<const edges::TracedArris*> all;
  for (const edges::TracedArris& t : traced) all.push_back(&t);
  return edges::photo_noise(all, kNoisePhotos);
}

TEST(PhotoNoise, TheNoisyPhotoIsFoundAndTheOthersAreLeftAlone) {
  const edges::PhotoNoise noise = noise_of(pieces(1, 200));
  ASSERT_EQ(noise.size(), kNoisePhotos);
  for (std::size_t p = 0; p < kNoisePhotos; ++p)
    EXPECT_NEAR(noise[geometry::PhotoIndex(p)], p == 2 ? 3 : 1, p == 2 ? 0.3 : 0.1) << p;
}

TEST(PhotoNoise, TooFewReadingsSayNothing) {
  for (const double factor : noise_of(pieces(2, 10))) EXPECT_EQ(factor, 1);
  EXPECT_EQ(edges::photo_noise({}, kNoisePhotos).size(), kNoisePhotos);
}

}  // namespace
}  // namespace interstice
