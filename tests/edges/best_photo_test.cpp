// The best photo of a place, on pictures whose blur is known.
#include "edges/best_photo.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <string>

#include "edges/plate_scene.h"

namespace interstice {
namespace {

// A step blurred by a Gaussian of standard deviation s has its steepest slope at height / (s sqrt(2 pi)): its
// width is s sqrt(2 pi). Central differences over two pixels widen it a little.
TEST(BestPhoto, EdgeWidthIsThatOfTheBlur) {
  for (const double blur : {1.5, 3.0, 5.0}) {
    cv::Mat picture(120, 120, CV_8U, cv::Scalar(60));
    picture.colRange(60, 120) = 180;
    cv::GaussianBlur(picture, picture, {}, blur);
    const auto width = edges::edge_width_px(picture, {60, 60}, 25);
    ASSERT_TRUE(width);
    EXPECT_NEAR(*width, blur * std::sqrt(2 * std::numbers::pi), 0.12 * *width + 0.3) << blur;
  }
}

TEST(BestPhoto, NothingIsReadWithoutAnEdgeOrBeyondTheBorder) {
  const cv::Mat flat(120, 120, CV_8U, cv::Scalar(90));
  EXPECT_FALSE(edges::edge_width_px(flat, {60, 60}, 25));
  cv::Mat step = flat.clone();
  step.colRange(60, 120) = 200;
  EXPECT_FALSE(edges::edge_width_px(step, {110, 60}, 25));
}

// Of equal views the sharp one is taken; the squarest is given up when it is out of focus.
TEST(BestPhoto, FocusCountsBesideTheView) {
  testing_plate::PlateScene scene = testing_plate::plate_scene({});
  for (std::size_t i = 0; i < scene.scan.photos.size(); ++i)
    scene.scan.photos[geometry::PhotoIndex(i)].info.name = "p" + std::to_string(i);
  const Eigen::Vector3d place = scene.plane.lift({testing_plate::kHalfX, 0.0});
  const std::string first = edges::best_photo(scene.scan, scene.pictures, place, scene.plane.normal);
  ASSERT_FALSE(first.empty());
  for (std::size_t i = 0; i < scene.scan.photos.size(); ++i) {
    if (scene.scan.photos[geometry::PhotoIndex(i)].info.name != first) continue;
    cv::Mat& grey = scene.pictures[geometry::PhotoIndex(i)].grey;
    cv::GaussianBlur(grey, grey, {}, 6);
  }
  const std::string second = edges::best_photo(scene.scan, scene.pictures, place, scene.plane.normal);
  EXPECT_FALSE(second.empty());
  EXPECT_NE(second, first);
}

}  // namespace
}  // namespace interstice
