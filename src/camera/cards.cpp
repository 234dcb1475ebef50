#include "camera/cards.h"

#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "camera/card_consistency.h"
#include "camera/corner.h"
#include "core/median.h"

namespace interstice::camera {
namespace {

// Markers are read at a size at which a square module of a card on a bench still has several pixels; corners
// are measured in the full picture.
constexpr int kReadingLongSide = 2100;
// White margin round a marker; so far the surroundings of a corner hold its two edges and nothing else.
constexpr double kCornerReachMm = (kSquareMm - kMarkerMm) / 2;

// The read markers of one card: index 0 to 19 -> its corners in pixels of the full photo.
using CardMarkers = std::map<int, std::array<Eigen::Vector2d, 4>>;

struct ReadMarkers {
  std::map<int, CardMarkers> cards;
  std::map<int, int> doubles;  // card -> markers seen more than once
};

ReadMarkers read_markers(const cv::Mat& grey) {
  const double scale = std::min(1.0, static_cast<double>(kReadingLongSide) / std::max(grey.cols, grey.rows));
  cv::Mat small = grey;
  if (scale < 1) cv::resize(grey, small, cv::Size(), scale, scale, cv::INTER_AREA);
  const double sx = static_cast<double>(small.cols) / grey.cols,
               sy = static_cast<double>(small.rows) / grey.rows;

  static const cv::Ptr<cv::aruco::Dictionary> dictionary =
      cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_250);
  const auto parameters = cv::aruco::DetectorParameters::create();
  parameters->cornerRefinementMethod = cv::aruco::CORNER_REFINE_SUBPIX;
  parameters->minMarkerPerimeterRate = 0.02;
  std::vector<std::vector<cv::Point2f>> found;
  std::vector<int> ids;
  cv::aruco::detectMarkers(small, dictionary, found, ids, parameters);

  ReadMarkers read;
  for (std::size_t i = 0; i < ids.size(); ++i) {
    const int card = ids[i] / kMarkersPerCard + 1, marker = ids[i] % kMarkersPerCard;
    if (card > kCards) continue;
    std::array<Eigen::Vector2d, 4> corners;
    for (std::size_t k = 0; k < 4; ++k) {
      corners[k] = {(found[i][k].x + 0.5) / sx - 0.5, (found[i][k].y + 0.5) / sy - 0.5};
    }
    if (!read.cards[card].emplace(marker, corners).second) ++read.doubles[card];
  }
  return read;
}

// ransac_px 0: plain least squares.
Eigen::Matrix3d homography(const std::vector<cv::Point2d>& card, const std::vector<cv::Point2d>& pixel,
                           double ransac_px = 0) {
  const cv::Mat h = ransac_px > 0 ? cv::findHomography(card, pixel, cv::RANSAC, ransac_px)
                                  : cv::findHomography(card, pixel);
  Eigen::Matrix3d out = Eigen::Matrix3d::Constant(std::nan(""));
  if (!h.empty()) {
    for (int r = 0; r < 3; ++r) {
      for (int c = 0; c < 3; ++c) out(r, c) = h.at<double>(r, c);
    }
  }
  return out;
}

void append_marker(int marker, const std::array<Eigen::Vector2d, 4>& seen, std::vector<cv::Point2d>& card,
                   std::vector<cv::Point2d>& pixel) {
  for (int k = 0; k < 4; ++k) {
    const Eigen::Vector2d p = marker_point(marker, k);
    card.emplace_back(p.x(), p.y());
    pixel.emplace_back(seen[static_cast<std::size_t>(k)].x(), seen[static_cast<std::size_t>(k)].y());
  }
}

bool lies_on(const Eigen::Matrix3d& pixel_H_card, int marker, const std::array<Eigen::Vector2d, 4>& seen,
             double limit_px) {
  for (int k = 0; k < 4; ++k) {
    const Eigen::Vector2d expected = map_point(pixel_H_card, marker_point(marker, k));
    if (!((expected - seen[static_cast<std::size_t>(k)]).norm() <= limit_px)) return false;
  }
  return true;
}

// Drops markers that do not lie where the rest of the card puts them (patterns misread as a marker).
void drop_stray_markers(CardMarkers& markers) {
  if (markers.size() < 3) return;
  std::vector<cv::Point2d> card, pixel;
  std::vector<double> sides;
  for (const auto& [marker, corners] : markers) {
    append_marker(marker, corners, card, pixel);
    sides.push_back((corners[0] - corners[2]).norm() / std::sqrt(2.0));
  }
  // Lens distortion bends a whole card by a few hundredths of its size; a stray marker is off by a marker or
  // more.
  const double limit = std::max(3.0, 0.25 * core::median(std::move(sides)));
  Eigen::Matrix3d pixel_H_card = homography(card, pixel, limit);
  // The random sample that wins may be four close points: refit to all that agree before judging.
  for (int round = 0; round < 3 && pixel_H_card.allFinite(); ++round) {
    card.clear();
    pixel.clear();
    for (const auto& [marker, corners] : markers) {
      if (lies_on(pixel_H_card, marker, corners, 2 * limit)) append_marker(marker, corners, card, pixel);
    }
    if (card.size() < 12) break;
    pixel_H_card = homography(card, pixel);
  }
  if (!pixel_H_card.allFinite()) return;
  std::erase_if(markers, [&](const auto& m) { return !lies_on(pixel_H_card, m.first, m.second, limit); });
}

// The two markers that touch an inner corner: of the four squares round it two are white and hold one each.
std::array<int, 2> markers_at(int corner_id) {
  std::array<int, 2> out{-1, -1};
  const int row = corner_id / (kBoardColumns - 1), column = corner_id % (kBoardColumns - 1);
  std::size_t n = 0;
  for (int marker = 0; marker < kMarkersPerCard; ++marker) {
    const BoardSquare s = marker_square(marker);
    const bool touches = (s.row == row || s.row == row + 1) && (s.column == column || s.column == column + 1);
    if (touches && n < 2) out[n++] = marker;
  }
  return out;
}

// Whether a marker could not be read because the picture ends before it does. Markers need white round them.
bool is_cut_by_frame(const cv::Mat& grey, const Eigen::Matrix3d& pixel_H_card, int marker) {
  constexpr double kMargin_px = 3;
  const cv::Rect2d inside(kMargin_px, kMargin_px, grey.cols - 1 - 2 * kMargin_px,
                          grey.rows - 1 - 2 * kMargin_px);
  for (int k = 0; k < 4; ++k) {
    const Eigen::Vector2d p = map_point(pixel_H_card, marker_point(marker, k));
    if (!inside.contains(cv::Point2d(p.x(), p.y()))) return true;
  }
  return false;
}

CardView corners_of(const cv::Mat& grey, int card, const CardMarkers& markers) {
  CardView view;
  view.card = card;
  for (int id = 0; id < kCornersPerCard; ++id) {
    const std::array<int, 2> near = markers_at(id);
    std::vector<cv::Point2d> on_card, on_photo;
    for (const int m : near) {
      if (markers.contains(m)) append_marker(m, markers.at(m), on_card, on_photo);
    }
    if (on_card.empty()) continue;
    const Eigen::Matrix3d pixel_H_card = homography(on_card, on_photo);
    if (!pixel_H_card.allFinite()) continue;
    const bool explained = std::all_of(near.begin(), near.end(), [&](int m) {
      return markers.contains(m) || is_cut_by_frame(grey, pixel_H_card, m);
    });
    if (!explained) continue;
    const Eigen::Vector2d point = card_point(id).head<2>();
    const auto corner = refine_corner(grey, map_point(pixel_H_card, point), map_jacobian(pixel_H_card, point),
                                      kCornerReachMm);
    if (!corner) continue;
    view.corner_id.push_back(id);
    view.pixel.push_back(corner->pixel);
    view.sd_px.push_back(corner->sd_px);
  }
  return view;
}

bool spans_a_plane(const CardView& view) {
  if (view.corner_id.size() < 4) return false;
  Eigen::MatrixX2d points(static_cast<Eigen::Index>(view.corner_id.size()), 2);
  for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
    points.row(static_cast<Eigen::Index>(i)) = card_point(view.corner_id[i]).head<2>().transpose();
  }
  points.rowwise() -= points.colwise().mean().eval();
  return points.jacobiSvd().singularValues()(1) > kSquareMm / 2;
}

}  // namespace

Eigen::Vector3d card_point(int corner_id) {
  const int row = corner_id / (kBoardColumns - 1), column = corner_id % (kBoardColumns - 1);
  return {(column + 1 - kBoardColumns / 2.0) * kSquareMm, (kBoardRows / 2.0 - row - 1) * kSquareMm, 0};
}

BoardSquare marker_square(int marker) {
  // Four white squares a row; the first row starts black, the second white.
  const int row = marker / (kBoardColumns / 2);
  return {row, 2 * (marker % (kBoardColumns / 2)) + (row % 2 == 0 ? 1 : 0)};
}

Eigen::Vector2d marker_point(int marker, int k) {
  const BoardSquare square = marker_square(marker);
  const double x = (square.column + 0.5 - kBoardColumns / 2.0) * kSquareMm;
  const double y = (kBoardRows / 2.0 - square.row - 0.5) * kSquareMm;
  const double half = kMarkerMm / 2;
  return {x + (k == 1 || k == 2 ? half : -half), y + (k < 2 ? half : -half)};
}

std::vector<CardView> detect_cards(const cv::Mat& grey) {
  CV_Assert(grey.type() == CV_8UC1);
  ReadMarkers read = read_markers(grey);
  std::vector<CardView> views;
  for (auto& [card, markers] : read.cards) {
    // One marker twice can be chance; more are a second print of the same card in the photo.
    if (read.doubles[card] >= 3) continue;
    drop_stray_markers(markers);
    CardView view = corners_of(grey, card, markers);
    drop_inconsistent_corners(view, grey.cols, grey.rows);
    if (spans_a_plane(view)) views.push_back(std::move(view));
  }
  return views;
}

}  // namespace interstice::camera
