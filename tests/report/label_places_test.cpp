#include "report/label_places.h"

#include <gtest/gtest.h>

#include <opencv2/imgproc.hpp>

namespace interstice {
namespace {

int overlap(const cv::Rect& a, const cv::Rect& b) {
  return (a & b).area();
}

TEST(LabelPlaces, labels_stay_where_they_are_wanted_if_they_can) {
  report::LabelPlaces places({400, 300});
  EXPECT_EQ(places.place({50, 60, 40, 15}), cv::Rect(50, 60, 40, 15));
  EXPECT_EQ(places.place({100, 60, 40, 15}), cv::Rect(100, 60, 40, 15));
  EXPECT_EQ(places.place({390, -20, 40, 15}), cv::Rect(360, 0, 40, 15));
}

TEST(LabelPlaces, labels_keep_clear_of_one_another_and_near) {
  report::LabelPlaces places({400, 300});
  std::vector<cv::Rect> all;
  for (int i = 0; i < 8; ++i) all.push_back(places.place({50, 100, 40, 15}));
  for (std::size_t i = 0; i < all.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) EXPECT_EQ(overlap(all[i], all[j]), 0) << i << " " << j;
    EXPECT_LE(std::abs(all[i].y - 100), 5 * 20);
  }
}

// Arrows of every direction from where the label is wanted: drawn, none of their pixels is under it.
TEST(LabelPlaces, labels_keep_clear_of_arrows) {
  for (int degrees = 0; degrees < 360; degrees += 15) {
    SCOPED_TRACE(degrees);
    const double a = degrees * CV_PI / 180;
    const cv::Point2d from(200, 150), to(200 + 70 * std::cos(a), 150 + 70 * std::sin(a));
    constexpr int kWide = 5;
    cv::Mat picture = cv::Mat::zeros(300, 400, CV_8U);
    cv::arrowedLine(picture, from, to, 255, kWide, cv::LINE_AA, 0, 0.3);
    report::LabelPlaces places(picture.size());
    places.keep_clear_of_arrow(from, to, 0.3, kWide);
    for (int i = 0; i < 2; ++i) {
      const cv::Rect label = places.place({188, 140, 60, 18});
      EXPECT_EQ(cv::countNonZero(picture(label)), 0);
      EXPECT_LE(std::abs(label.y - 140), 120);
    }
  }
}

TEST(LabelPlaces, a_full_picture_still_gets_its_label) {
  report::LabelPlaces places({100, 40});
  places.keep_clear({0, 0, 100, 40});
  EXPECT_EQ(places.place({10, 10, 40, 15}), cv::Rect(10, 10, 40, 15));
}

}  // namespace
}  // namespace interstice
