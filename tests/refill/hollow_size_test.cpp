// Volumes with their ranges, against sums worked out by hand.
#include "refill/hollow_size.h"

#include <gtest/gtest.h>

#include <cmath>

namespace interstice::refill {
namespace {

const WallRoom none{[](double) { return 0.0; }, [](double) { return 0.0; }};

TEST(HollowSize, OpeningAndDepthAddAsSquaresWhereAFloorIsSeen) {
  const VolumeRange exact = volume_range({20, 0, 0}, {4, 4.0, 4}, none);
  EXPECT_NEAR(exact.low_mm3, 80, 1e-9);
  EXPECT_NEAR(exact.high_mm3, 80, 1e-9);
  // Opening alone, depth alone, both: 20 % down and 25 % up are the same step in logarithms.
  EXPECT_NEAR(volume_range({20, 4, 5}, {4, 4.0, 4}, none).high_mm3, 100, 1e-9);
  EXPECT_NEAR(volume_range({20, 0, 0}, {3.2, 4.0, 5}, none).low_mm3, 64, 1e-9);
  EXPECT_NEAR(volume_range({20, 0, 0}, {3.2, 4.0, 5}, none).high_mm3, 100, 1e-9);
  const VolumeRange both = volume_range({20, 4, 5}, {3.2, 4.0, 5}, none);
  EXPECT_NEAR(both.high_mm3, 80 * std::exp(std::sqrt(2.0) * std::log(1.25)), 1e-9);
  EXPECT_LT(both.high_mm3, 125);              // not as far as both at their ends
  EXPECT_NEAR(both.low_mm3, 16 * 3.2, 1e-9);  // seen, so a limit
}

// A slot of 2 x 10 mm, 5 deep, with walls 10 degrees off upright: 100 mm3 below the opening, 44 more beside it.
TEST(HollowSize, WhatWallsDrawBackByCountsToTheUpperEndOnly) {
  const auto beside = [](double d) { return 2 * 10 * std::tan(10 * 3.14159265 / 180) * d * d / 2; };
  const VolumeRange r = volume_range({20, 0, 0}, {5, 5.0, 5}, {beside, [](double) { return 0.0; }});
  EXPECT_NEAR(r.low_mm3, 100, 1e-9);
  EXPECT_NEAR(r.high_mm3, 144.08, 0.01);
  // On a round form of 60 mm the section falls by 2/60 a millimetre: 2.5 mm deeper by a twelfth.
  const auto narrower = [](double d) { return 20 * 2.0 / 60 * d * d / 2; };
  const VolumeRange round = volume_range({20, 0, 0}, {5, 5.0, 5}, {[](double) { return 0.0; }, narrower});
  EXPECT_NEAR(round.low_mm3, 100 * (1 - 1.0 / 12), 1e-9);
  EXPECT_NEAR(round.high_mm3, 100, 1e-9);
}

TEST(HollowSize, LimitsOfDepthStayLimitsWhereNoFloorIsSeen) {
  const VolumeRange r = volume_range({20, 4, 4}, {2, std::nullopt, 10}, none);
  EXPECT_NEAR(r.low_mm3, 16 * 2, 1e-9);
  EXPECT_NEAR(r.high_mm3, 22 * 10, 1e-9);
  // Never nothing, however unsure the opening is.
  EXPECT_GE(volume_range({2, 10, 10}, {2, std::nullopt, 10}, none).low_mm3, 0.5 * 2 * 2);
}

}  // namespace
}  // namespace interstice::refill
