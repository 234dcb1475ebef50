// Pieces of paper on a flatbed, from a picture to their outlines in millimetres.
//
// Model: papers lie flat, apart from the picture's edges and from one another (those that touch are parted, see
// layout/paper_parting.h, and told), on a background of one colour that they stand out from (darker or lighter). The
// background is what the picture's border shows; an outline runs where the colour is halfway between background and paper. The scale is the picture's own check line:
// its length was measured; the paper that it is drawn on is no piece.
//
// Frame of an outline: x to the right, y up as in the picture, about the piece's own middle; mm. Papers lie
// with their drawn side on the glass, so the picture shows them from outside the form; their edges towards
// the pole are up, or nearly.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "geometry/polygon.h"
#include "layout/paper_line.h"

namespace interstice::layout {

struct PaperPicture {
  std::string file;
  cv::Mat bgr;                // 8 bit, three channels
  std::optional<double> dpi;  // dots per inch as the file or the maker says
};

struct PaperPiece {
  geometry::Polygon outline;                // counter-clockwise, steps of half a millimetre
  std::vector<Eigen::Vector2d> outline_px;  // the same, of the picture
};

struct PaperPage {
  std::string file;
  int width_px = 0, height_px = 0;
  double mm_per_px = 0;
  CheckLine check_line;
  std::vector<PaperPiece> pieces;       // row by row, from the upper left
  std::vector<std::string> left_out;    // cut off by the picture's edge, or a scrap; one line each
  std::vector<std::string> look_again;  // papers that touched and were parted, or may be two; one line each
};

// Throws InputError, naming the file: no check line, one that contradicts the file's resolution by more than
// kScaleAgrees, too coarse a picture; MeasureError: no papers that stand out from the background.
PaperPage read_papers(const PaperPicture& picture, double check_line_mm);

inline constexpr double kScaleAgrees = 0.03;
inline constexpr double kCoarsest_mm =
    0.26;  // of a pixel: 100 dots an inch; an edge is told to a tenth of one

}  // namespace interstice::layout
