#include "refill/shell_turn.h"

#include <gtest/gtest.h>

#include <cmath>

namespace interstice::refill {
namespace {

TEST(ShellTurn, ThePictureOfBeforeIsLaidOnTheSameMap) {
  surface::MapPicture fine{surface::MapGrid::covering(20, 0.5), {}};
  fine.colour = cv::Mat(fine.grid.side(), fine.grid.side(), CV_8UC3, cv::Scalar::all(0));
  for (int r = 0; r < fine.grid.side(); ++r) {
    for (int c = 0; c < fine.grid.side(); ++c) {
      const Eigen::Vector2d uv = fine.grid.uv(c, r);
      if (uv.norm() > 15) continue;  // beyond, nothing was seen
      fine.colour.at<cv::Vec3b>(r, c) = {uchar(100 + 4 * uv.x()), uchar(100 - 4 * uv.y()), 50};
    }
  }
  const surface::MapGrid grid = surface::MapGrid::covering(20, 1.0);
  const cv::Mat out = on_grid(fine, grid);
  for (int r = 0; r < grid.side(); ++r) {
    for (int c = 0; c < grid.side(); ++c) {
      const Eigen::Vector2d uv = grid.uv(c, r);
      const cv::Vec3f seen = out.at<cv::Vec3f>(r, c);
      if (uv.norm() > 16.5) {
        EXPECT_TRUE(std::isnan(seen[0])) << uv.transpose();
      }
      if (uv.norm() > 14) continue;
      EXPECT_NEAR(seen[0], 100 + 4 * uv.x(), 1.01) << uv.transpose();
      EXPECT_NEAR(seen[1], 100 - 4 * uv.y(), 1.01) << uv.transpose();
      EXPECT_NEAR(seen[2], 50, 0.01);
    }
  }
}

TEST(ShellTurn, OnlyPlacedPiecesLieOnTheMap) {
  std::vector<Eigen::Vector2d> rz;
  for (int i = 0; i <= 60; ++i)
    rz.emplace_back(100 * std::sin(i * M_PI / 120), 100 * std::cos(i * M_PI / 120));
  rz.back().y() = 0;
  const geometry::Profile profile(rz);
  seams::FitDocument fit;
  fit.tiles.resize(2);
  fit.tiles[1].state = plan::TileState::placed;
  for (const double u : {10.0, 20.0, 15.0})
    fit.tiles[1].arris.push_back(profile.point({u, u == 15 ? 9 : 0}, 12));
  const auto outlines = measured_on_map(fit, profile);
  ASSERT_EQ(outlines.size(), 2u);
  EXPECT_TRUE(outlines[0].empty());
  ASSERT_EQ(outlines[1].size(), 3u);
  EXPECT_NEAR(outlines[1][0].x(), 10, 0.02);
  EXPECT_NEAR(outlines[1][2].y(), 9, 0.02);
}

TEST(ShellTurn, ThreeOfFivePiecesMustAgree) {
  Registration r;
  r.pieces = 14;
  r.agreeing = 8;
  EXPECT_FALSE(found_again(r));
  r.agreeing = 9;
  EXPECT_TRUE(found_again(r));
}

}  // namespace
}  // namespace interstice::refill
