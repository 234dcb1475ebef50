// The broken corner's geometry, and what a bowl's pieces tell of it.
#include "edges/learn_corner.h"

#include <gtest/gtest.h>

#include <cmath>

namespace interstice {
namespace {

using Eigen::Vector2d;

// A strip seen width + slope * height wide; its rim the contour where that is negative.
TEST(BrokenCorner, StripAndRim) {
  edges::BrokenCorner corner;
  corner.height_mm = corner.width_mm = 0.3;
  corner.height_sd_mm = 0.03;
  EXPECT_NEAR(edges::strip_width_mm(corner, -0.4), 0.18, 1e-12);
  EXPECT_EQ(edges::strip_width_mm(corner, -1.2), 0);
  EXPECT_EQ(edges::rim_shift_mm(corner, -0.4), 0);
  // From slope -1.5 the rim, 0.3 above and 0.3 inward of the arris, is seen 1.5 * 0.3 - 0.3 outward of it.
  EXPECT_NEAR(edges::rim_shift_mm(corner, -1.5), 0.15, 1e-12);
  EXPECT_NEAR(edges::on_corner_mm(corner, 0.6, false), 0.48 / std::sqrt(12.0), 1e-12);
  EXPECT_NEAR(edges::on_corner_mm(corner, -1.5, false), 0.015, 1e-12);
  // Sanded steeper, 0.2 wide: the rim comes into sight at a slope of -2/3.
  corner.width_mm = 0.2;
  EXPECT_NEAR(edges::strip_width_mm(corner, 0.5), 0.35, 1e-12);
  EXPECT_FALSE(edges::rim_is_contour(corner, -0.6));
  EXPECT_TRUE(edges::rim_is_contour(corner, -0.7));
  EXPECT_NEAR(edges::rim_shift_mm(corner, -1.5), 0.25, 1e-12);
}

// Ten pieces whose steep views say the corner is 0.03 to 0.05 mm narrower than taken, and one that says
// nothing.
TEST(BrokenCorner, WidthLearntFromSteepViews) {
  std::vector<edges::TracedArris> pieces(11);
  std::vector<const edges::TracedArris*> all;
  for (std::size_t k = 0; k < pieces.size(); ++k) {
    pieces[k].wider_mm = k % 2 ? -0.03 : -0.05;
    pieces[k].wider_sd_mm = 0.01;
    all.push_back(&pieces[k]);
  }
  pieces[10].wider_mm = 0.2;
  pieces[10].wider_sd_mm = 0.07;
  edges::BrokenCorner traced_with;
  traced_with.width_mm = 0.28;
  const edges::BrokenCorner corner = edges::learn_corner(std::vector<double>(11, 0.3), all, traced_with);
  EXPECT_NEAR(corner.width_mm, 0.28 - 0.04, 0.0101);
  EXPECT_NEAR(corner.width_sd_mm, 0.03, 1e-12);
  // A sharp corner has no width, and none is sanded flat.
  EXPECT_NEAR(edges::learn_corner(std::vector<double>(11, 0.05), all, traced_with).width_mm, 0.05, 1e-12);
  traced_with.width_mm = 0.1;
  EXPECT_NEAR(edges::learn_corner(std::vector<double>(11, 0.3), all, traced_with).width_mm, 0.15, 1e-12);
  // Nobody sees the rim: as wide as high.
  for (edges::TracedArris& p : pieces) p.wider_sd_mm = 0.07;
  EXPECT_NEAR(edges::learn_corner(std::vector<double>(11, 0.3), all, traced_with).width_mm, 0.3, 1e-12);
}

// Pieces whose views onto the wall see the edge a tenth of the strip's width off the contours.
TEST(BrokenCorner, LearntFromTheBowlsPieces) {
  std::vector<edges::TracedArris> pieces(10);
  std::vector<const edges::TracedArris*> all;
  std::vector<double> heights;
  for (std::size_t k = 0; k < pieces.size(); ++k) {
    pieces[k].outline.assign(40, Vector2d::Zero());
    for (std::size_t i = 0; i < 40; ++i) {
      edges::ArrisObservation contour{i, geometry::PhotoIndex(0), -0.5, 0, 30, 0.03};
      edges::ArrisObservation wall{i, geometry::PhotoIndex(1), 0.6, 0, 30, 0.1};
      wall.strip_mm = 0.3 * 1.6;
      wall.residual_mm = (i / 8 % 2 ? 0.1 : -0.1) * wall.strip_mm;
      pieces[k].observations.push_back(contour);
      pieces[k].observations.push_back(wall);
    }
    pieces[k].noise_scale = 1e-9;
    pieces[k].wider_sd_mm = 1;  // nothing known of the width: as the height
    heights.push_back(0.3 + (k % 2 ? 0.04 : -0.04));
    all.push_back(&pieces[k]);
  }
  heights.push_back(0.3);
  const edges::BrokenCorner corner = edges::learn_corner(heights, all);
  EXPECT_NEAR(corner.height_mm, 0.3, 1e-12);
  EXPECT_NEAR(corner.height_sd_mm, 0.04 / 0.6745, 1e-9);
  EXPECT_NEAR(corner.wall_spread, 0.1, 1e-6);
  // Noise alone spreads the two kinds of view as well: eight contour readings of 0.03 mm, eight of walls of 0.1
  // mm. It is taken off for contours; for walls, traced elsewhere without contours to guide them, the whole stands.
  EXPECT_NEAR(corner.hidden_spread, 0.1, 1e-6);
  for (edges::TracedArris& p : pieces) p.noise_scale = 0.2;
  const double noise = 0.2 * (0.03 * 0.03 + 0.1 * 0.1) / 8;
  EXPECT_NEAR(edges::learn_corner(heights, all).hidden_spread, std::sqrt(0.1 * 0.1 - noise / (0.48 * 0.48)),
              2e-4);
  EXPECT_NEAR(edges::learn_corner(heights, all).wall_spread, 0.1, 1e-6);
  for (edges::TracedArris& p : pieces) p.noise_scale = 64;
  EXPECT_EQ(edges::learn_corner(heights, all).hidden_spread, 0);
  // With few pieces nothing is learnt.
  const edges::BrokenCorner few = edges::learn_corner({0.3, 0.3}, {all[0], all[1]});
  EXPECT_EQ(few.height_mm, edges::BrokenCorner().height_mm);
  EXPECT_EQ(few.wall_spread, edges::BrokenCorner().wall_spread);
}

// How unevenly corners are broken is the mean of the pieces' squares, one among them worse than the others.
TEST(BrokenCorner, UnevennessLearntFromAllPieces) {
  std::vector<edges::TracedArris> pieces(10);
  std::vector<const edges::TracedArris*> all;
  for (edges::TracedArris& p : pieces) {
    p.uneven_mm2 = 0.01;
    all.push_back(&p);
  }
  pieces[3].uneven_mm2 = 0.11;
  EXPECT_NEAR(edges::learn_corner(std::vector<double>(10, 0.3), all).uneven_mm, std::sqrt(0.02), 1e-12);
}

// Light from above: on walls that look up the edge is seen a fifth of the strip's width outward; in twelve
// pieces, of which two are read wrongly by more than the whole strip.
TEST(BrokenCorner, WallsLookingUpAreLearntByThemselves) {
  std::vector<edges::TracedArris> pieces(12);
  std::vector<const edges::TracedArris*> all;
  for (std::size_t k = 0; k < pieces.size(); ++k) {
    pieces[k].outline.assign(40, Vector2d::Zero());
    pieces[k].noise_scale = 1e-9;
    pieces[k].wider_sd_mm = 1;  // nothing known of the width: as the height
    for (std::size_t i = 0; i < 40; ++i) {
      pieces[k].observations.push_back({i, geometry::PhotoIndex(0), -0.5, 0, 30, 0.03});
      edges::ArrisObservation wall{i, geometry::PhotoIndex(1), 0.6, 0, 30, 0.1};
      wall.looks_up = i >= 32;
      wall.strip_mm = 0.3 * 1.6;
      if (wall.looks_up) wall.residual_mm = (k < 2 ? 1.5 : 0.2) * 0.3 * 1.6;
      pieces[k].observations.push_back(wall);
    }
    all.push_back(&pieces[k]);
  }
  const edges::BrokenCorner corner = edges::learn_corner(std::vector<double>(12, 0.3), all);
  EXPECT_NEAR(corner.up_share, 0.2, 1e-9);
  EXPECT_GE(corner.up_spread, 0.2 / 0.6745);
  // Traced with that share, the same readings lie where it says, and the share stays.
  for (edges::TracedArris& p : pieces) {
    for (edges::ArrisObservation& o : p.observations)
      o.residual_mm -= edges::wall_shift_mm(corner, o.slope, o.looks_up);
  }
  edges::BrokenCorner traced_with = corner;
  traced_with.width_mm = traced_with.height_mm;
  EXPECT_NEAR(edges::learn_corner(std::vector<double>(12, 0.3), all, traced_with).up_share, 0.2, 1e-9);
  EXPECT_NEAR(edges::wall_shift_mm(corner, 0.6, true), 0.2 * 0.48, 1e-9);
  EXPECT_EQ(edges::wall_shift_mm(corner, 0.6, false), 0);
  EXPECT_EQ(edges::wall_shift_mm(corner, -0.6, true), 0);
  EXPECT_GT(edges::on_corner_mm(corner, 0.6, true), edges::on_corner_mm(corner, -0.6, true));
}

}  // namespace
}  // namespace interstice
