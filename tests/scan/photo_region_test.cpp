// Where a photo by itself looks for features, against where the solved positions will: a hand aims at the middle of
// the form (common practice, no source), from near the bench as from above.
#include <gtest/gtest.h>

#include <numbers>
#include <opencv2/core.hpp>

#include "scan/card_scene.h"
#include "scan/photo_work.h"

namespace interstice::scan {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using testing_scene::looking_at;

constexpr double kReach_mm = 104, kHeight_mm = 128;
const SearchSpace kSpace{1.35 * kReach_mm, 1.1 * kHeight_mm};

struct Shot {
  camera::Lens lens = camera::plain_lens(4000, 3000, 3010);
  Isometry3d camera_T_bench, bench_T_card = Isometry3d::Identity();

  // From an elevation, degrees, at a distance from the middle of the form, aimed at a height.
  Shot(double elevation_deg, double aim_height_mm) {
    const double e = elevation_deg * std::numbers::pi / 180;
    const Vector3d aim(0, 0, aim_height_mm);
    camera_T_bench = looking_at(aim + 420 * Vector3d(std::cos(e), 0, std::sin(e)), aim);
    bench_T_card.translation() = Vector3d(60, 190, 0);
  }
  camera::CardView card() const {
    camera::CardView view;
    view.card = 1;
    for (int k = 0; k < camera::kCornersPerCard; ++k) {
      const Vector2d q = lens.project(camera_T_bench * (bench_T_card * camera::card_point(k)));
      if (!lens.in_frame(q, 5)) continue;
      view.corner_id.push_back(k);
      view.pixel.push_back(q);
      view.sd_px.push_back(0.1);
    }
    return view;
  }
  cv::Mat region() const {
    camera::PhotoInfo info;
    info.width = lens.width;
    info.height = lens.height;
    return PhotoWork(info, lens, nullptr).region({card()}, kSpace);
  }
};

TEST(PhotoRegion, AimedAtTheMiddleOfTheFormLeavesOutNothingOfIt) {
  for (const double elevation_deg : {15.0, 20.0, 45.0, 75.0}) {
    const Shot shot(elevation_deg, kHeight_mm / 2);
    ASSERT_GE(shot.card().corner_id.size(), 8u) << elevation_deg;
    cv::Mat wanted = cylinder_mask(shot.lens, shot.camera_T_bench, Vector2d::Zero(), kSpace);
    leave_out_sheet(shot.lens, shot.camera_T_bench * shot.bench_T_card, wanted);
    const int missed = cv::countNonZero(wanted & ~shot.region());
    EXPECT_LT(missed, 0.002 * cv::countNonZero(wanted)) << elevation_deg;
    EXPECT_LT(cv::countNonZero(shot.region()), 2 * cv::countNonZero(wanted)) << elevation_deg;
  }
}

TEST(PhotoRegion, CardsAreNotSearched) {
  const Shot shot(50, kHeight_mm / 2);
  const cv::Mat region = shot.region();
  for (int k = 0; k < camera::kCornersPerCard; ++k) {
    const Vector2d q = shot.lens.project(shot.camera_T_bench * (shot.bench_T_card * camera::card_point(k)));
    if (!shot.lens.in_frame(q, 5)) continue;
    EXPECT_EQ(region.at<uchar>(static_cast<int>(q.y()), static_cast<int>(q.x())), 0) << k;
  }
}

}  // namespace
}  // namespace interstice::scan
