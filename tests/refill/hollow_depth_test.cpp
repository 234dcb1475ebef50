#include "refill/hollow_depth.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

namespace interstice::refill {
namespace {

// Lines of sight that meet walls down to `deepest`, over a floor at `floor`.
std::vector<Sight> sights(double floor_mm, double deepest_mm, double noise, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> depth(0.6, deepest_mm);
  std::normal_distribution<double> error(0, noise);
  std::vector<Sight> out;
  for (int k = 0; k < 3000; ++k) {
    const double z = depth(random);
    out.push_back({z, (z < floor_mm ? 1.0 : 0.0) + error(random), 1});
  }
  return out;
}

TEST(HollowDepth, FloorIsWhereWoodChangesToResin) {
  for (const double floor_mm : {2.0, 4.5, 8.0}) {
    const HollowDepth d = floor_from(sights(floor_mm, 12, 0.3, 1));
    ASSERT_TRUE(d.floor_mm) << floor_mm;
    EXPECT_NEAR(*d.floor_mm, floor_mm, 0.1);
    EXPECT_LE(d.floor_low_mm, floor_mm);
    EXPECT_GE(d.floor_high_mm, floor_mm);
    EXPECT_LE(d.at_least_mm, floor_mm);
    EXPECT_GT(d.at_least_mm, 0.9 * floor_mm - 1.4);
  }
}

TEST(HollowDepth, WithoutAFloorInSightItIsAtLeastAsDeepAsTheWoodSeen) {
  const HollowDepth d = floor_from(sights(20, 7, 0.3, 2));
  EXPECT_FALSE(d.floor_mm);
  EXPECT_GT(d.at_least_mm, 4.5);
  EXPECT_LE(d.at_least_mm, 7);
}

TEST(HollowDepth, NothingSeenSaysNothing) {
  EXPECT_EQ(floor_from({}).at_least_mm, 0);
  const HollowDepth resin_only = floor_from(sights(0, 9, 0.3, 3));
  EXPECT_EQ(resin_only.at_least_mm, 0);
  EXPECT_FALSE(resin_only.floor_mm);
}

TEST(HollowDepth, OrderOfLinesDoesNotMatter) {
  std::vector<Sight> some = sights(5, 12, 0.4, 4);
  const HollowDepth one = floor_from(some);
  std::shuffle(some.begin(), some.end(), std::mt19937(9));
  const HollowDepth other = floor_from(some);
  EXPECT_EQ(one.floor_mm, other.floor_mm);
  EXPECT_EQ(one.at_least_mm, other.at_least_mm);
}

}  // namespace
}  // namespace interstice::refill
