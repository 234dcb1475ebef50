// Which end of a seam is which.
#include "report/seam_ends.h"

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
  EXPECT_EQ(report::seam_ends(fit, upright), (std::array<std::string, 2>{"rim", "B01"}));
  EXPECT_EQ(report::seam_ends(fit, level), (std::array<std::string, 2>{"A02", "open side"}));
}

}  // namespace
}  // namespace interstice
