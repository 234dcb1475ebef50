// Whether resin stands in the seams, and what burnt-out places of photos say.
#include "refill/poured_check.h"

#include <gtest/gtest.h>

#include <cmath>
#include <opencv2/core.hpp>

#include "refill/band_views.h"

namespace interstice::refill {
namespace {

TEST(PouredCheck, OpenSeamsDisagreeAndAreDarkInOneView) {
  // A slot three times as deep as wide.
  const double floor_light = std::sin(std::atan(0.5 / 3));
  EXPECT_TRUE((SeamViews{0.20, floor_light}.surely_open()));
  // Clear or mirroring resin disagrees as much and is never so dark; black resin is dark and agrees.
  EXPECT_FALSE((SeamViews{0.24, 0.5}.surely_open()));
  EXPECT_FALSE((SeamViews{0.06, 0.08}.surely_open()));
  EXPECT_TRUE((SeamViews{0.06, 0.08}.surely_filled()));
  EXPECT_FALSE((SeamViews{0.24, 0.5}.surely_filled()));
}

TEST(PouredCheck, ABurntOutSpotIsBrightNotUnseen) {
  const cv::Mat white(40, 40, CV_8UC3, cv::Scalar(255, 255, 255)),
      grey(40, 40, CV_8UC3, cv::Scalar(200, 200, 200));
  const Eigen::Vector3f burnt_out = spot_codes(white, {20, 20}, 1), shown = spot_codes(grey, {20, 20}, 1);
  ASSERT_TRUE(burnt_out.allFinite());
  EXPECT_TRUE(burnt(burnt_out));
  EXPECT_NEAR(burnt_out.x(), 255, 1e-3);
  EXPECT_FALSE(burnt(shown));
  EXPECT_FALSE(spot_codes(white, {0, 0}, 1).allFinite());
}

}  // namespace
}  // namespace interstice::refill
