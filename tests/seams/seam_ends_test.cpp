// Which end of a seam is which, and how a place along it is found at the bench.
#include "seams/seam_ends.h"

#include <gtest/gtest.h>

namespace interstice {
namespace {

seams::FitTile at_corner(const std::string& label, int ring, const Eigen::Vector3d& corner) {
  seams::FitTile tile;
  tile.label = label;
  tile.ring = ring;
  tile.arris = {corner, corner + Eigen::Vector3d(0, 0, 20), corner + Eigen::Vector3d(20, 0, 20)};
  return tile;
}

// The seam of A01 and A02 runs from the bench up to B01; that of A01 and B01 ends where A02 stands and, on the other
// side, where no piece is yet.
TEST(SeamEnds, AreNamedAfterThePieceThatMeetsTheSeamThere) {
  seams::FitDocument fit;
  fit.tiles = {at_corner("A01", 1, {-40, 0, 0}), at_corner("A02", 1, {4, 0, 0}),
               at_corner("B01", 2, {0, 0, 34})};
  seams::FitSeam upright, level;
  upright.tiles = {"A01", "A02"};
  upright.samples = {{0, 4, 0.05, {-2, 0, 0}, {2, 0, 0}}, {30, 4, 0.05, {-2, 0, 30}, {2, 0, 30}}};
  level.tiles = {"A01", "B01"};
  level.samples = {{0, 4, 0.05, {2, 0, 19}, {2, 0, 25}}, {30, 4, 0.05, {-60, 0, 19}, {-60, 0, 25}}};
  EXPECT_EQ(seams::seam_ends(fit, upright), (std::array<std::string, 2>{"the rim", "B01"}));
  EXPECT_EQ(seams::seam_ends(fit, level), (std::array<std::string, 2>{"A02", "the open side"}));
  // A place is counted from the nearer end.
  EXPECT_EQ(seams::place_words(*seams::place_along(fit, upright, {0, 0, 1})), "at its end at the rim");
  upright.samples.push_back({42, 4, 0.05, {-2, 0, 42}, {2, 0, 42}});
  const auto place = seams::place_along(fit, upright, {0, 1, 29});
  EXPECT_NEAR(place->from_end_mm, 12, 1e-9);
  EXPECT_EQ(seams::place_words(*place), "12 mm from its end at B01");
}

// While no second ring is on, the upper end of the same seam is no rim.
TEST(SeamEnds, TheUpperEndOfAnOpenRingIsNoRim) {
  seams::FitDocument fit;
  fit.tiles = {at_corner("A01", 1, {-40, 0, 0}), at_corner("A02", 1, {4, 0, 0})};
  seams::FitSeam upright;
  upright.tiles = {"A01", "A02"};
  upright.samples = {{0, 4, 0.05, {-2, 0, 0}, {2, 0, 0}}, {30, 4, 0.05, {-2, 0, 30}, {2, 0, 30}}};
  EXPECT_EQ(seams::seam_ends(fit, upright), (std::array<std::string, 2>{"the rim", "the open side"}));
}

}  // namespace
}  // namespace interstice
