#include "camera/photo_store.h"

#include <gtest/gtest.h>

#include <opencv2/imgcodecs.hpp>

#include "camera/printed_card.h"

namespace interstice {
namespace {

using namespace testing_support;

camera::PhotoInfo photo_at(const std::filesystem::path& path, int width, int height, int level) {
  cv::imwrite(path.string(), cv::Mat(height, width, CV_8UC3, cv::Scalar(level, level / 2, 40)));
  return camera::read_photo_info(path);
}

TEST(PhotoStore, APictureIsDecodedOnce) {
  const TemporaryFolder folder;
  const camera::PhotoInfo info = photo_at(folder / "a.png", 40, 30, 90);
  camera::PhotoStore store;
  const cv::Mat first = store.colour(info);
  EXPECT_EQ(cv::norm(first, camera::read_photo_colour(info), cv::NORM_INF), 0);
  EXPECT_EQ(store.colour(info).data, first.data);
  EXPECT_EQ(store.bytes(), 3u * 40 * 30);
  const cv::Mat grey = store.grey(info);
  EXPECT_EQ(cv::norm(grey, camera::read_photo_grey(info), cv::NORM_INF), 0);
  EXPECT_EQ(store.grey(info).data, grey.data);
  EXPECT_EQ(store.bytes(), 4u * 40 * 30);
}

TEST(PhotoStore, TheBudgetHoldsAndTheRestIsDecodedAgain) {
  const TemporaryFolder folder;
  const camera::PhotoInfo a = photo_at(folder / "a.png", 40, 30, 90),
                          b = photo_at(folder / "b.png", 40, 30, 180);
  camera::PhotoStore store(2 * 3 * 40 * 30 - 1);  // a byte short of both
  const cv::Mat kept = store.colour(a), passed_on = store.colour(b);
  EXPECT_EQ(store.bytes(), 3u * 40 * 30);
  EXPECT_EQ(store.colour(a).data, kept.data);
  EXPECT_NE(store.colour(b).data, passed_on.data);
  EXPECT_EQ(cv::norm(store.colour(b), passed_on, cv::NORM_INF), 0);
}

TEST(PhotoStore, ForgottenGreyMakesRoom) {
  const TemporaryFolder folder;
  const camera::PhotoInfo a = photo_at(folder / "a.png", 40, 30, 90);
  camera::PhotoStore store(3 * 40 * 30);
  store.grey(a);
  EXPECT_NE(store.colour(a).data, store.colour(a).data);  // no room beside the grey picture
  store.forget_grey();
  EXPECT_EQ(store.bytes(), 0u);
  const cv::Mat colour = store.colour(a);
  EXPECT_EQ(store.colour(a).data, colour.data);
}

TEST(PhotoStore, APhotoThatCannotBeReadIsAnErrorEachTime) {
  const TemporaryFolder folder;
  camera::PhotoInfo gone = photo_at(folder / "a.png", 40, 30, 90);
  std::filesystem::remove(gone.path);
  camera::PhotoStore store;
  EXPECT_THROW(store.colour(gone), camera::PhotoError);
  EXPECT_THROW(store.colour(gone), camera::PhotoError);
  EXPECT_EQ(store.bytes(), 0u);
}

}  // namespace
}  // namespace interstice
