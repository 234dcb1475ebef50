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
    out.push_back({z, 0.2, (z < floor_mm ? 1.0 : 0.0) + error(random), 1});
  }
  return out;
}

TEST(HollowDepth, FloorIsWhereWoodChangesToResin) {
  for (const double floor_mm : {2.0, 4.5, 8.0}) {
    const HollowDepth d = floor_from(sights(floor_mm, 12, 0.3, 1), 25, 2);
    ASSERT_TRUE(d.floor_mm) << floor_mm;
    EXPECT_NEAR(*d.floor_mm, floor_mm, 0.1);
    EXPECT_LE(d.floor_low_mm, floor_mm);
    EXPECT_GE(d.floor_high_mm, floor_mm);
    EXPECT_LE(d.at_least_mm, floor_mm);
    EXPECT_GT(d.at_least_mm, 0.9 * floor_mm - 1.4);
  }
}

TEST(HollowDepth, WithoutAFloorInSightItIsAtLeastAsDeepAsTheWoodSeen) {
  const HollowDepth d = floor_from(sights(20, 7, 0.3, 2), 25, 2);
  EXPECT_FALSE(d.floor_mm);
  EXPECT_GT(d.at_least_mm, 4.5);
  EXPECT_LE(d.at_least_mm, 7);
}

// Lines nearly along a wall show its lit top wherever they were thought to meet it, and are bright.
std::vector<Sight> with_grazing(std::vector<Sight> sights, double sd_mm) {
  for (int k = 0; k < 300; ++k) sights.push_back({8 + 0.01 * k, sd_mm, 1.0, 6});
  return sights;
}

TEST(HollowDepth, LinesAlongAWallTellNoDepth) {
  const HollowDepth d = floor_from(with_grazing(sights(4, 7, 0.3, 5), 20), 25, 2);
  ASSERT_TRUE(d.floor_mm);
  EXPECT_NEAR(*d.floor_mm, 4, 0.2);
  EXPECT_LE(d.at_least_mm, 4);
  EXPECT_GT(d.at_least_mm, 2.8);
}

// Where the walls are known to a millimetre, so is the floor; nearer the opening they may be known better.
TEST(HollowDepth, AFloorIsKnownAsWellAsTheWallsAboutIt) {
  std::vector<Sight> vague = sights(6, 12, 0.1, 6), both = vague;
  for (Sight& s : vague) s.sd_mm = 1;
  for (Sight& s : both) s.sd_mm = s.depth_mm < 5 ? 0.2 : 1;
  const HollowDepth far_off = floor_from(vague, 25, 2), near = floor_from(both, 25, 2);
  EXPECT_LT(far_off.at_least_mm, 4.2);
  EXPECT_GT(far_off.at_least_mm, 3.2);
  EXPECT_GT(near.at_least_mm, far_off.at_least_mm);
  EXPECT_LE(near.at_least_mm, 6);
}

TEST(HollowDepth, NothingSeenSaysNothing) {
  EXPECT_EQ(floor_from({}, 25, 2).at_least_mm, 0);
  const HollowDepth resin_only = floor_from(sights(0, 9, 0.3, 3), 25, 2);
  EXPECT_EQ(resin_only.at_least_mm, 0);
  EXPECT_FALSE(resin_only.floor_mm);
}

TEST(HollowDepth, OrderOfLinesDoesNotMatter) {
  std::vector<Sight> some = sights(5, 12, 0.4, 4);
  const HollowDepth one = floor_from(some, 25, 2);
  std::shuffle(some.begin(), some.end(), std::mt19937(9));
  const HollowDepth other = floor_from(some, 25, 2);
  EXPECT_EQ(one.floor_mm, other.floor_mm);
  EXPECT_EQ(one.at_least_mm, other.at_least_mm);
}

}  // namespace
}  // namespace interstice::refill
