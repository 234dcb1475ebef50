// The printed card: which ink lies where. Sheet and print as in the card's specification: A5 landscape,
// ChArUco of 8 x 5 squares of 24 mm with 18 mm markers of OpenCV's DICT_5X5_250, check line and label.
#pragma once

#include <Eigen/Core>
#include <array>
#include <opencv2/core.hpp>
#include <vector>

namespace interstice::renderer {

constexpr double kSheetLongMm = 210, kSheetShortMm = 148;
constexpr double kSquareMm = 24, kMarkerMm = 18;
constexpr int kSquaresAcross = 8, kSquaresDown = 5;

class CardPrint {
 public:
  explicit CardPrint(int card);

  // Whether there is ink at nominal coordinates from the sheet's centre, x along the long side, y up the
  // sheet.
  bool black(double x_mm, double y_mm) const;

 private:
  bool label_black(double x_mm, double y_mm) const;

  std::vector<std::array<std::array<bool, 7>, 7>> markers_;  // black or not, in board order
  cv::Mat label_;                                            // 0.1 mm a pixel, 255 where printed
};

// The 28 inner corners of the board in OpenCV's order (row by row from the top left), nominal, y up the
// sheet.
std::vector<Eigen::Vector2d> board_corners();

}  // namespace interstice::renderer
