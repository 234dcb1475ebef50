// The printed scale cards and how they are found in a photo.
//
// A card is an A5 landscape sheet, 210 x 148 mm, with a ChArUco board in its middle: 8 x 5 squares of 24 mm,
// markers of 18 mm from OpenCV's dictionary DICT_5X5_250. Card k (1 to 12) uses marker ids 20 (k-1) to 20 k -
// 1, row by row from the top left; the top left square is black.
//
// Frame `card`: origin in the middle of the board, x along the long side to the right and y towards the label
// at the top, as one reads the card; z out of the paper; mm at a print scale of 1. (OpenCV's own board frame
// has its origin at the top left corner, y down and so z into the paper; it is used nowhere outside
// cards.cpp.)
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

namespace interstice::camera {

inline constexpr double kSheetWidthMm = 210, kSheetHeightMm = 148;
inline constexpr int kBoardColumns = 8, kBoardRows = 5;  // squares
inline constexpr double kSquareMm = 24, kMarkerMm = 18;
inline constexpr double kCheckLineMm = 150, kCheckLineAboveEdgeMm = 7;
inline constexpr int kCards = 12, kMarkersPerCard = 20;
inline constexpr int kCornersPerCard = (kBoardColumns - 1) * (kBoardRows - 1);  // 28

// Inner corner of the chessboard, ids 0 to 27 row by row from the top left, in frame `card`, z = 0.
Eigen::Vector3d card_point(int corner_id);

// Corner k (0 to 3: top left, top right, bottom right, bottom left of the upright marker) of a card's marker
// 0 to 19, in frame `card`, x and y.
Eigen::Vector2d marker_point(int marker, int k);

// Row and column of the square a marker of a card stands in (0, 0: top left).
struct BoardSquare {
  int row, column;
};
BoardSquare marker_square(int marker);

// One card as one photo shows it.
struct CardView {
  int card = 0;                        // 1 to 12
  std::vector<int> corner_id;          // ascending
  std::vector<Eigen::Vector2d> pixel;  // in step with corner_id
  std::vector<double> sd_px;  // in step: standard uncertainty in each direction, from the noise seen and
                              // the contrast and size of the corner
};

// Finds every card of an 8-bit grey photo. A corner is given only when both markers that touch it were read (half
// hidden cards) or one of them is cut by the frame, its surroundings look like a corner and it agrees with the other corners of its card;
// a card only with at least four corners that are not on one line. Sorted by card; a card seen twice in one
// photo is left out (two prints of one number). Corners carry no systematic shift (OpenCV's own interpolation
// adds half a pixel; it is not used).
std::vector<CardView> detect_cards(const cv::Mat& grey);

}  // namespace interstice::camera
