#include "bench/photo_check.h"

#include <cmath>
#include <numbers>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "bench/standpoints.h"
#include "camera/printed_card.h"
#include "core/own_folder.h"
#include "scan/card_scene.h"

namespace interstice::bench {
namespace {

class PhotoCheckTest : public OwnFolder {
 protected:
  // Two cards half a metre away, blurred by a Gaussian of known size, brightened or darkened.
  PhotoCheck check(double blur_px, double gain = 1, double offset = 0, double smallest_fill_mm = 3) {
    const camera::Lens lens = camera::plain_lens(1600, 1200, 1300);
    cv::Mat picture = testing_support::draw_cards(
        lens, {testing_support::place_card(lens, 1, {450, 600}, kDistanceMm, 0, 0, 0),
               testing_support::place_card(lens, 2, {1150, 600}, kDistanceMm, 0, 0, 90)});
    if (blur_px > 0) cv::GaussianBlur(picture, picture, cv::Size(), blur_px);
    picture.convertTo(picture, CV_8U, gain, offset);
    cv::imwrite((folder_ / "photo.png").string(), picture);
    return check_photo(folder_ / "photo.png", smallest_fill_mm, folder_ / "small.jpg");
  }
  // The distance is along the ray to the card's middle, 350 px off the axis; pixels go by the depth.
  static constexpr double kDistanceMm = 500;
  const double mm_per_px_ = kDistanceMm * std::cos(std::atan(350.0 / 1300)) / 1300;
};

// The pixel itself smooths by a box of one pixel (variance 1/12), reading between pixels and over one pixel
// of path by about as much again.
TEST_F(PhotoCheckTest, MeasuresTheBlurItWasGiven) {
  for (const double blur_px : {1.0, 1.5, 2.0, 2.5}) {
    const PhotoCheck found = check(blur_px);
    ASSERT_TRUE(found.blur_px) << blur_px;
    EXPECT_GT(*found.blur_px, blur_px * 0.9);  // the paper read is under three deviations wide at the last
    EXPECT_LT(*found.blur_px, std::hypot(blur_px, 0.55) * 1.05);
    EXPECT_NEAR(*found.blur_mm, *found.blur_px * mm_per_px_, 0.01 * *found.blur_mm);
  }
}

TEST_F(PhotoCheckTest, SaysWhatIsTheMatter) {
  const PhotoCheck good = check(0);
  EXPECT_EQ(good.cards.size(), 2u);
  EXPECT_TRUE(good.faults.empty());
  EXPECT_TRUE(good.notes.empty());
  const auto first = [](const std::vector<std::string>& lines) {
    return lines.empty() ? std::string() : lines[0];
  };
  // Half a millimetre: a sixth of the smallest fill.
  EXPECT_EQ(first(check(1.5).faults).substr(0, 7), "blurred");
  EXPECT_TRUE(check(0.8).notes.empty()) << "as sharp as its pixels are fine";
  EXPECT_EQ(first(check(1.5, 1, 0, 4.5).notes).substr(0, 13), "a little soft");
  EXPECT_EQ(first(check(0, 0.2).faults).substr(0, 8), "too dark");
  EXPECT_EQ(first(check(0, 0.15, 150).faults).substr(0, 4), "hazy");
  EXPECT_EQ(first(check(0, 2.0, 60).notes).substr(0, 6), "bright");
}

TEST_F(PhotoCheckTest, APhotoWithoutCardsIsNoHelp) {
  cv::imwrite((folder_ / "bare.png").string(), cv::Mat(600, 800, CV_8UC3, cv::Scalar(90, 120, 140)));
  const PhotoCheck found = check_photo(folder_ / "bare.png", 3.0, folder_ / "small.jpg");
  ASSERT_EQ(found.faults.size(), 1u);
  EXPECT_EQ(found.faults[0].substr(0, 10), "no card in");
}

TEST_F(PhotoCheckTest, TheSmallPictureStandsAsAViewerShowsIt) {
  check(0);
  const cv::Mat small = cv::imread((folder_ / "small.jpg").string());
  EXPECT_EQ(small.cols, 480);
  EXPECT_EQ(small.rows, 360);
}

TEST_F(PhotoCheckTest, IsReadBackAsWritten) {
  const PhotoCheck found = check(0);
  const PhotoCheck again = parse_check(write_check(found), "check");
  EXPECT_EQ(write_check(again), write_check(found));
  EXPECT_EQ(again.cards.size(), 2u);
  EXPECT_EQ(again.cards[0].pixel, found.cards[0].pixel);
}

double apart(double a, double b) {
  return std::abs(std::remainder(a - b, 360.0));
}

// Ten photos round four cards, places known; clockwise from card 1.
TEST(StandpointsTest, PhotosAreFoundWhereTheyWereTaken) {
  const testing_scene::Scene scene = testing_scene::make_scene(0.1, 5);
  std::vector<PhotoCheck> checks;
  for (std::size_t i = 0; i < scene.photos.size(); ++i) {
    PhotoCheck check;
    check.photo = "p" + std::to_string(i);
    check.width = scene.lens.width;
    check.height = scene.lens.height;
    check.focal_px = scene.lens.fx;
    check.cards = scene.photos[i].views;
    checks.push_back(check);
  }
  const Dial dial = standpoints(checks, scene.lens);
  EXPECT_EQ(dial.card_at_twelve, 1);
  ASSERT_EQ(dial.standpoints.size(), scene.photos.size());
  const Eigen::Vector3d card = scene.bench_T_card[0].translation();
  for (std::size_t i = 0; i < dial.standpoints.size(); ++i) {
    const std::size_t photo = std::stoul(dial.standpoints[i].photo.substr(1));
    const Eigen::Vector3d from =
        scene.camera_T_bench[photo].inverse().translation() - Eigen::Vector3d(0, 0, 20);
    const double clock =
        (std::atan2(card.y(), card.x()) - std::atan2(from.y(), from.x())) * 180 / std::numbers::pi;
    const double height = std::atan2(from.z(), from.head<2>().norm()) * 180 / std::numbers::pi;
    EXPECT_LT(apart(dial.standpoints[i].clock_deg, clock), 2) << photo;
    EXPECT_NEAR(dial.standpoints[i].height_deg, height, 2) << photo;
    EXPECT_NEAR(dial.standpoints[i].distance_mm, from.norm(), 20) << photo;
  }
  // With the focal length that EXIF or a guess gives, 5 % off, they move little enough for a dial.
  for (PhotoCheck& check : checks) check.focal_px *= 1.05;
  const Dial guessed = standpoints(checks, std::nullopt);
  ASSERT_EQ(guessed.standpoints.size(), scene.photos.size());
  for (std::size_t i = 0; i < guessed.standpoints.size(); ++i) {
    EXPECT_LT(apart(guessed.standpoints[i].clock_deg, dial.standpoints[i].clock_deg), 6);
    EXPECT_NEAR(guessed.standpoints[i].height_deg, dial.standpoints[i].height_deg, 6);
  }
  checks.resize(2);
  EXPECT_TRUE(standpoints(checks, scene.lens).standpoints.empty());
}

}  // namespace
}  // namespace interstice::bench
