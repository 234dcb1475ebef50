#include "refill/hollow_depth.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
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
    // A tenth for the wall's slope and what hues run into each other by, and a millimetre for where it is.
    EXPECT_GT(d.at_least_mm, floor_mm - std::hypot(0.4 * floor_mm, 1.0) - 0.2);
  }
}

TEST(HollowDepth, WithoutAFloorInSightItIsAtLeastAsDeepAsTheWoodSeen) {
  const HollowDepth d = floor_from(sights(20, 7, 0.3, 2));
  EXPECT_FALSE(d.floor_mm);
  EXPECT_GT(d.at_least_mm, 3.0);  // two fifths less than the deepest wood
  EXPECT_LE(d.at_least_mm, 7);
}

// Light from the walls gives the floor three quarters of their hue: wood ends where the hue falls, not where it is gone.
TEST(HollowDepth, AFloorInTheLightOfTheWallsIsNotTakenForWood) {
  std::vector<Sight> some = sights(4, 11, 0.2, 5);
  for (Sight& s : some) s.woodness = s.depth_mm < 4 ? s.woodness : s.woodness + 0.75;
  const HollowDepth d = floor_from(some);
  EXPECT_LE(d.at_least_mm, 4);
  ASSERT_TRUE(d.floor_mm);
  EXPECT_NEAR(*d.floor_mm, 4, 0.5);
}

// One wall looks more like wood than the other all the way down; both end at the same floor.
TEST(HollowDepth, EachWallHasItsOwnWood) {
  std::vector<Sight> some = sights(5, 10, 0.1, 6), others = sights(5, 10, 0.1, 7);
  for (Sight& s : some) s.woodness = 1.3 * s.woodness;
  for (Sight& s : others) {
    s.woodness = s.depth_mm < 5 ? 0.65 * s.woodness : s.woodness + 0.4;
    s.wall = 1;
  }
  some.insert(some.end(), others.begin(), others.end());
  const HollowDepth d = floor_from(some);
  ASSERT_TRUE(d.floor_mm);
  EXPECT_NEAR(*d.floor_mm, 5, 0.1);
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
