#include "camera/cards.h"

#include <gtest/gtest.h>

#include <opencv2/aruco/charuco.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "camera/printed_card.h"

namespace interstice {
namespace {

using namespace testing_support;

camera::Lens test_lens() {
  camera::Lens lens = camera::plain_lens(1400, 1050, 1050);
  lens.cx += 6.3, lens.cy -= 4.1;
  lens.k1 = 0.05, lens.k2 = -0.1, lens.p1 = 0.0004, lens.p2 = -0.0003, lens.k3 = 0.04;
  return lens;
}

struct Score {
  int corners = 0;
  double rms_px = 0, worst_px = 0, chi2 = 0;
  Eigen::Vector2d mean_px{0, 0};
};

Score score(const camera::Lens& lens, const std::vector<PlacedCard>& placed,
            const std::vector<camera::CardView>& views) {
  Score s;
  for (const camera::CardView& view : views) {
    const auto it =
        std::find_if(placed.begin(), placed.end(), [&](const PlacedCard& p) { return p.card == view.card; });
    if (it == placed.end()) {
      ADD_FAILURE() << "card " << view.card << " is not there";
      continue;
    }
    for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
      const Eigen::Vector2d e = view.pixel[i] - true_corner(lens, *it, view.corner_id[i]);
      ++s.corners;
      s.mean_px += e;
      s.rms_px += e.squaredNorm();
      s.worst_px = std::max(s.worst_px, e.norm());
      s.chi2 += e.squaredNorm() / 2 / (view.sd_px[i] * view.sd_px[i]);
    }
  }
  s.mean_px /= std::max(1, s.corners);
  s.rms_px = std::sqrt(s.rms_px / std::max(1, s.corners));
  s.chi2 /= std::max(1, s.corners);
  return s;
}

cv::Mat with_noise(const cv::Mat& grey, double blur_px, double noise, int seed) {
  cv::Mat blurred, out;
  grey.convertTo(blurred, CV_32F);
  if (blur_px > 0) cv::GaussianBlur(blurred, blurred, cv::Size(), blur_px);
  cv::Mat n(grey.size(), CV_32F);
  cv::RNG random(static_cast<uint64_t>(seed));
  random.fill(n, cv::RNG::NORMAL, 0, noise);
  blurred += n;
  blurred.convertTo(out, CV_8U);
  return out;
}

// The board against OpenCV's own: marker corners and chessboard corners of its CharucoBoard (y down, from the
// top left) in our frame.
TEST(CardLayout, AgreesWithOpenCvBoard) {
  const auto board = cv::aruco::CharucoBoard::create(
      8, 5, 24, 18, cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_250));
  ASSERT_EQ(board->ids.size(), 20u);
  for (std::size_t m = 0; m < 20; ++m) {
    for (std::size_t k = 0; k < 4; ++k) {
      const cv::Point3f p = board->objPoints[m][k];
      const Eigen::Vector2d ours = camera::marker_point(static_cast<int>(m), static_cast<int>(k));
      EXPECT_NEAR(ours.x(), p.x - 96, 1e-5);
      EXPECT_NEAR(ours.y(), 60 - p.y, 1e-5);
    }
  }
  ASSERT_EQ(board->chessboardCorners.size(), 28u);
  for (int c = 0; c < 28; ++c) {
    const cv::Point3f p = board->chessboardCorners[static_cast<std::size_t>(c)];
    EXPECT_NEAR(camera::card_point(c).x(), p.x - 96, 1e-5);
    EXPECT_NEAR(camera::card_point(c).y(), 60 - p.y, 1e-5);
  }
}

// No systematic shift: rendered cards at known places, mean error below 0.02 px in each direction.
TEST(CardDetection, HasNoBias) {
  const camera::Lens lens = test_lens();
  Score all;
  for (int n = 0; n < 4; ++n) {
    const std::vector<PlacedCard> placed = {
        place_card(lens, 1 + n, {420.3 + 31.7 * n, 330.8}, 480 + 37 * n, 12.0 * n, 40.0 * n, 23.0 * n),
        place_card(lens, 9 + n, {1010.6, 720.2 - 13.3 * n}, 520 - 21 * n, 40 - 9.0 * n, 75.0 * n,
                   180 - 31.0 * n)};
    const auto views = camera::detect_cards(draw_cards(lens, placed));
    ASSERT_EQ(views.size(), 2u) << n;
    const Score s = score(lens, placed, views);
    EXPECT_GE(s.corners, 54) << n;
    EXPECT_LT(s.rms_px, 0.03) << n;
    all.mean_px += s.mean_px / 4;
  }
  EXPECT_LT(all.mean_px.cwiseAbs().maxCoeff(), 0.005) << all.mean_px.transpose();
}

// Law: a picture turned by a quarter shows the same corners at the turned places, to the last thousandth.
TEST(CardDetection, TurnsWithThePicture) {
  const camera::Lens lens = test_lens();
  const cv::Mat picture =
      with_noise(draw_cards(lens, {place_card(lens, 3, {700, 500}, 420, 35, 20, 10)}), 0.8, 2, 5);
  const auto upright = camera::detect_cards(picture);
  ASSERT_EQ(upright.size(), 1u);
  ASSERT_EQ(upright[0].corner_id.size(), 28u);
  cv::Mat turned = picture;
  for (int quarter = 1; quarter < 4; ++quarter) {
    cv::Mat next;
    cv::rotate(turned, next, cv::ROTATE_90_CLOCKWISE);
    turned = next;
    const auto views = camera::detect_cards(turned);
    ASSERT_EQ(views.size(), 1u);
    ASSERT_EQ(views[0].corner_id, upright[0].corner_id);
    for (std::size_t i = 0; i < 28; ++i) {
      const double x = upright[0].pixel[i].x(), y = upright[0].pixel[i].y();
      const double w = picture.cols - 1, h = picture.rows - 1;
      const Eigen::Vector2d expected = quarter == 1   ? Eigen::Vector2d(h - y, x)
                                       : quarter == 2 ? Eigen::Vector2d(w - x, h - y)
                                                      : Eigen::Vector2d(y, w - x);
      EXPECT_LT((views[0].pixel[i] - expected).norm(), 2e-3) << quarter << " " << i;
    }
  }
}

// With blur and noise corners stay good and their stated uncertainty is right within a factor of about two.
TEST(CardDetection, UncertaintyMatchesErrorsUnderBlurAndNoise) {
  const camera::Lens lens = test_lens();
  const std::vector<PlacedCard> placed = {place_card(lens, 2, {500, 400}, 430, 30, 60, 15)};
  const cv::Mat clean = draw_cards(lens, placed);
  for (const auto& [blur, noise] :
       std::vector<std::pair<double, double>>{{0.7, 4}, {1.5, 4}, {1.5, 10}, {2.0, 4}}) {
    double chi2 = 0, rms = 0;
    for (int seed = 0; seed < 4; ++seed) {
      const auto views = camera::detect_cards(with_noise(clean, blur, noise, 100 + seed));
      ASSERT_EQ(views.size(), 1u) << blur << " " << noise;
      const Score s = score(lens, placed, views);
      EXPECT_GE(s.corners, blur < 2 ? 28 : 15) << blur << " " << noise;  // at 2 px markers get hard to read
      chi2 += s.chi2 / 4;
      rms += s.rms_px / 4;
    }
    EXPECT_LT(rms, 0.3) << blur << " " << noise;
    EXPECT_GT(chi2, 0.3) << blur << " " << noise;
    EXPECT_LT(chi2, 3.5) << blur << " " << noise;
  }
}

TEST(CardDetection, LivesWithJpegDamage) {
  const camera::Lens lens = test_lens();
  const std::vector<PlacedCard> placed = {place_card(lens, 12, {700, 520}, 450, 25, 130, 200)};
  const cv::Mat clean = with_noise(draw_cards(lens, placed), 0.8, 2, 9);
  for (const int quality : {90, 60, 30}) {
    std::vector<uchar> file;
    cv::imencode(".jpg", clean, file, {cv::IMWRITE_JPEG_QUALITY, quality});
    const auto views = camera::detect_cards(cv::imdecode(file, cv::IMREAD_GRAYSCALE));
    ASSERT_EQ(views.size(), 1u) << quality;
    const Score s = score(lens, placed, views);
    EXPECT_GE(s.corners, 26) << quality;
    EXPECT_LT(s.rms_px, quality >= 60 ? 0.06 : 0.15) << quality;
  }
}

// Something wood-coloured lies over part of the card, with a sharp curved border: every corner that is given
// is right, and those well away from the border are given.
TEST(CardDetection, HiddenCornersAreLeftOutNotMisplaced) {
  const camera::Lens lens = test_lens();
  const std::vector<PlacedCard> placed = {place_card(lens, 5, {700, 520}, 400, 20, 70, 8)};
  const cv::Mat clean = draw_cards(lens, placed);
  for (int n = 0; n < 24; ++n) {
    cv::Mat picture = clean.clone();
    const cv::Point centre(430 + 23 * n, 820 - 11 * (n % 7));
    const int radius = 230 + 9 * (n % 5);
    cv::circle(picture, centre, radius, cv::Scalar(n % 2 ? 90 : 200), cv::FILLED, cv::LINE_AA);
    picture = with_noise(picture, 0.7, 2, n);
    const auto views = camera::detect_cards(picture);
    ASSERT_EQ(views.size(), 1u) << n;
    const Score s = score(lens, placed, views);
    EXPECT_LT(s.worst_px, 0.3) << n;
    int clear = 0;
    for (int id = 0; id < camera::kCornersPerCard; ++id) {
      const Eigen::Vector2d p = true_corner(lens, placed[0], id);
      clear += std::hypot(p.x() - centre.x, p.y() - centre.y) > radius + 150;  // its markers are whole too
    }
    EXPECT_GE(s.corners, clear) << n;
    EXPECT_LT(s.corners, 28) << n;
  }
}

// The frame cuts a card in its second row of squares from below: of the row of corners there, one marker each is read,
// and the corners are found all the same.
TEST(CardDetection, CornersBesideOneMarkerAreFound) {
  const camera::Lens lens = test_lens();
  const std::vector<PlacedCard> placed = {place_card(lens, 5, {700, 520}, 400, 0, 0, 0)};
  const cv::Mat whole = draw_cards(lens, placed);
  const int last_row = 3, first_id = last_row * (camera::kBoardColumns - 1);
  const double below = true_corner(lens, placed[0], first_id).y(),
               above = true_corner(lens, placed[0], first_id - camera::kBoardColumns + 1).y();
  // A third of the last row of squares stays in the picture: none of its markers is whole.
  const int rows = static_cast<int>(below + (below - above) / 3);
  const auto views = camera::detect_cards(with_noise(whole.rowRange(0, rows), 0.7, 2, 1));
  ASSERT_EQ(views.size(), 1u);
  EXPECT_EQ(views[0].corner_id.size(), static_cast<std::size_t>(camera::kCornersPerCard));
  EXPECT_LT(score(lens, placed, views).worst_px, 0.15);
}

// A chip of tape or a drop of glue on the corner itself, too small to hide a marker: the corner goes, or
// stays right.
TEST(CardDetection, SpotsOnACornerDoNotPullIt) {
  const camera::Lens lens = test_lens();
  const std::vector<PlacedCard> placed = {place_card(lens, 5, {700, 520}, 400, 20, 70, 8)};
  const cv::Mat clean = draw_cards(lens, placed);
  int gone = 0;
  for (int n = 0; n < 12; ++n) {
    cv::Mat picture = clean.clone();
    for (int id = n % 3; id < camera::kCornersPerCard; id += 3) {
      const Eigen::Vector2d p = true_corner(lens, placed[0], id);
      const double way = 0.7 * id + n, reach_px = 4 + n % 4;
      const cv::Point at(static_cast<int>(std::lround(p.x() + reach_px * std::cos(way))),
                         static_cast<int>(std::lround(p.y() + reach_px * std::sin(way))));
      cv::circle(picture, at, 4 + n % 3, cv::Scalar(n % 2 ? 100 : 180), cv::FILLED, cv::LINE_AA);
    }
    const auto views = camera::detect_cards(with_noise(picture, 0.7, 2, n));
    ASSERT_EQ(views.size(), 1u) << n;
    const Score s = score(lens, placed, views);
    EXPECT_LT(s.worst_px, 0.4) << n;
    EXPECT_GE(s.corners, 18) << n;  // of the 18 or 19 without a spot
    gone += camera::kCornersPerCard - s.corners;
  }
  EXPECT_GT(gone, 60);  // of 112 spotted ones
}

TEST(CardDetection, FindsNothingWhereThereIsNothing) {
  EXPECT_TRUE(camera::detect_cards(cv::Mat(600, 800, CV_8UC1, cv::Scalar(128))).empty());
  cv::Mat noise(900, 1200, CV_8UC1);
  cv::RNG random(3);
  random.fill(noise, cv::RNG::UNIFORM, 0, 256);
  EXPECT_TRUE(camera::detect_cards(noise).empty());
  EXPECT_TRUE(camera::detect_cards(cv::Mat(1, 1, CV_8UC1, cv::Scalar(0))).empty());
}

// A mirrored print must not be taken for a card (its corners would be swapped).
TEST(CardDetection, RefusesMirroredCards) {
  const camera::Lens lens = test_lens();
  cv::Mat picture = draw_cards(lens, {place_card(lens, 1, {700, 520}, 400, 10, 70, 8)}), mirrored;
  cv::flip(picture, mirrored, 1);
  EXPECT_TRUE(camera::detect_cards(mirrored).empty());
}

TEST(CardDetection, LeavesOutACardSeenTwice) {
  const camera::Lens lens = test_lens();
  const auto views = camera::detect_cards(draw_cards(
      lens, {place_card(lens, 4, {390, 300}, 620, 5, 0, 0), place_card(lens, 4, {1000, 300}, 620, 5, 0, 0),
             place_card(lens, 6, {700, 780}, 620, 5, 0, 0)}));
  ASSERT_EQ(views.size(), 1u);
  EXPECT_EQ(views[0].card, 6);
}

}  // namespace
}  // namespace interstice
