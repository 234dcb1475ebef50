// The calibration on real chessboard photos that OpenCV's documentation carries (Debian package
// opencv-doc 4.6, samples/data: left01.jpg to left14.jpg, 9 x 6 inner corners, 25 mm squares) against the
// lens shipped with them, left_intrinsics.yml. The photos are read where the package puts them and are no
// part of this project.
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "camera/calibration.h"
#include "camera/corner.h"

namespace interstice {
namespace {

namespace fs = std::filesystem;

fs::path opencv_samples() {
  const char* own = std::getenv("OPENCV_SAMPLES_DATA_PATH");
  return own ? fs::path(own) : fs::path("/usr/share/doc/opencv-doc/examples/data");
}

struct Boards {
  std::vector<camera::CalibrationView> views;
  std::vector<cv::Mat> photos;
};

// Corners the way the shipped file was made: the classic detector, then refinement in an 11 px half window.
Boards left_boards() {
  Boards boards;
  for (const int n : {1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14}) {
    char name[32];
    std::snprintf(name, sizeof name, "left%02d.jpg", n);
    const cv::Mat grey = cv::imread((opencv_samples() / name).string(), cv::IMREAD_GRAYSCALE);
    std::vector<cv::Point2f> corners;
    if (grey.empty() || !cv::findChessboardCorners(grey, {9, 6}, corners)) continue;
    cv::cornerSubPix(grey, corners, {11, 11}, {-1, -1},
                     {cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 30, 0.1});
    camera::CalibrationView view;
    view.photo = name;
    for (int i = 0; i < 54; ++i) {
      view.object_mm.emplace_back(25.0 * (i % 9), 25.0 * (i / 9));
      const cv::Point2f c = corners[static_cast<std::size_t>(i)];
      view.pixel.emplace_back(c.x, c.y);
    }
    boards.views.push_back(view);
    boards.photos.push_back(grey);
  }
  return boards;
}

class Published : public ::testing::Test {
 protected:
  void SetUp() override {
    if (!fs::exists(opencv_samples() / "left_intrinsics.yml"))
      GTEST_SKIP() << "Debian package opencv-doc is not installed";
  }
};

TEST_F(Published, ChessboardLensOfOpenCvSamplesToFourDigits) {
  const cv::FileStorage file((opencv_samples() / "left_intrinsics.yml").string(), cv::FileStorage::READ);
  cv::Mat k, d;
  file["camera_matrix"] >> k;
  file["distortion_coefficients"] >> d;
  const double rms = file["avg_reprojection_error"];
  // The values as they stand in the file, so that a changed package shows.
  ASSERT_NEAR(k.at<double>(0, 0), 535.91573396163199, 1e-9);
  ASSERT_NEAR(rms, 0.39259098975581364, 1e-12);

  const Boards boards = left_boards();
  ASSERT_EQ(boards.views.size(), 13u);
  camera::CalibrationOptions options;
  options.one_focal = true;   // the file says: aspect ratio held at 1
  options.leave_out = false;  // and every corner counted
  const camera::Calibration c = camera::calibrate(640, 480, 600, boards.views, options);
  EXPECT_NEAR(c.lens.rms_px, rms, 2e-5);             // 0.3926
  EXPECT_NEAR(c.lens.fx, k.at<double>(0, 0), 5e-3);  // 535.92
  EXPECT_DOUBLE_EQ(c.lens.fx, c.lens.fy);
  EXPECT_NEAR(c.lens.cx, k.at<double>(0, 2), 5e-3);  // 342.28
  EXPECT_NEAR(c.lens.cy, k.at<double>(1, 2), 5e-3);  // 235.57
  EXPECT_NEAR(c.lens.k1, d.at<double>(0), 5e-5);     // -0.2664
  EXPECT_NEAR(c.lens.k2, d.at<double>(1), 5e-4);     // -0.0386
  EXPECT_NEAR(c.lens.p1, d.at<double>(2), 5e-6);     // 0.00178
  EXPECT_NEAR(c.lens.p2, d.at<double>(3), 5e-6);     // -0.00028
  EXPECT_NEAR(c.lens.k3, d.at<double>(4), 2e-3);     // 0.238
}

// With wrong corners left out the fit gets tighter and the lens stays within what the corners can tell.
TEST_F(Published, LeavingOutWrongCornersTightensTheFit) {
  const Boards boards = left_boards();
  const camera::Calibration c = camera::calibrate(640, 480, 480, boards.views);
  EXPECT_LT(c.lens.rms_px, 0.3);
  EXPECT_NEAR(c.lens.fx, 535.9, 6);
  EXPECT_NEAR(c.lens.cx, 342.3, 4);
  EXPECT_GE(c.lens.photos_used, 12);
}

// Two independent corner estimators on real photos: ours, in a window laid out along the squares, and
// OpenCV's.
TEST_F(Published, CornersAgreeWithOpenCvRefinement) {
  const Boards boards = left_boards();
  std::vector<double> apart;
  for (std::size_t v = 0; v < boards.views.size(); ++v) {
    const camera::CalibrationView& view = boards.views[v];
    for (int i = 0; i < 54; ++i) {
      const auto at = [&](int j) { return view.pixel[static_cast<std::size_t>(j)]; };
      const int x = i % 9, y = i / 9;
      Eigen::Matrix2d pixel_J_card;
      pixel_J_card.col(0) = (x < 8 ? at(i + 1) - at(i) : at(i) - at(i - 1)) / 25;
      pixel_J_card.col(1) = (y < 5 ? at(i + 9) - at(i) : at(i) - at(i - 9)) / 25;
      const auto corner = camera::refine_corner(boards.photos[v], at(i), pixel_J_card, 8);
      if (corner) apart.push_back((corner->pixel - at(i)).norm());
    }
  }
  ASSERT_GT(apart.size(), 600u);  // of 702
  std::sort(apart.begin(), apart.end());
  EXPECT_LT(apart[apart.size() / 2], 0.1);
  EXPECT_LT(apart[apart.size() * 9 / 10], 0.3);
}

}  // namespace
}  // namespace interstice
