#include "renderer/card_print.h"

#include <cmath>
#include <opencv2/aruco.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

namespace interstice::renderer {

namespace {

constexpr double kLabelPixel = 0.1;                 // mm
constexpr double kLabelLeft = -96, kLabelTop = 71;  // mm: in the margin above the board's left end
constexpr double kLabelWide = 40, kLabelHigh = 9;
constexpr double kLineHalf = 75, kLineUp = -67, kLineWide = 0.35, kTick = 2;

}  // namespace

CardPrint::CardPrint(int card) {
  const cv::Ptr<cv::aruco::Dictionary> dictionary =
      cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_250);
  const int per_card = kSquaresAcross * kSquaresDown / 2;
  for (int i = 0; i < per_card; ++i) {
    cv::Mat drawn;
    cv::aruco::drawMarker(dictionary, per_card * (card - 1) + i, 7, drawn, 1);
    std::array<std::array<bool, 7>, 7> bits{};
    for (int row = 0; row < 7; ++row) {
      for (int col = 0; col < 7; ++col) {
        bits[static_cast<std::size_t>(row)][static_cast<std::size_t>(col)] =
            drawn.at<std::uint8_t>(row, col) == 0;
      }
    }
    markers_.push_back(bits);
  }
  label_ = cv::Mat::zeros(static_cast<int>(kLabelHigh / kLabelPixel),
                          static_cast<int>(kLabelWide / kLabelPixel), CV_8U);
  cv::putText(label_, "CARD " + std::to_string(card), {4, 66}, cv::FONT_HERSHEY_SIMPLEX, 1.9, cv::Scalar(255),
              5, cv::LINE_AA);
}

bool CardPrint::label_black(double x, double y) const {
  if (x >= kLabelLeft && x < kLabelLeft + kLabelWide && y <= kLabelTop && y > kLabelTop - kLabelHigh) {
    const int col = std::min(label_.cols - 1, static_cast<int>((x - kLabelLeft) / kLabelPixel));
    const int row = std::min(label_.rows - 1, static_cast<int>((kLabelTop - y) / kLabelPixel));
    if (label_.at<std::uint8_t>(row, col) > 127) return true;
  }
  const bool on_line = std::abs(x) <= kLineHalf && std::abs(y - kLineUp) <= 0.5 * kLineWide;
  const bool on_tick = std::abs(std::abs(x) - kLineHalf) <= 0.5 * kLineWide && std::abs(y - kLineUp) <= kTick;
  return on_line || on_tick;
}

bool CardPrint::black(double x, double y) const {
  // From the board's top left corner, y down, in squares.
  const double across = x / kSquareMm + 0.5 * kSquaresAcross, down = 0.5 * kSquaresDown - y / kSquareMm;
  if (across < 0 || down < 0 || across >= kSquaresAcross || down >= kSquaresDown) return label_black(x, y);
  const int col = static_cast<int>(across), row = static_cast<int>(down);
  if ((row + col) % 2 == 0) return true;  // the top left square is black
  const double border = 0.5 * (1 - kMarkerMm / kSquareMm), scale = 7 * kSquareMm / kMarkerMm;
  const double bit_x = (across - col - border) * scale, bit_y = (down - row - border) * scale;
  if (bit_x < 0 || bit_y < 0 || bit_x >= 7 || bit_y >= 7) return false;
  const auto marker = static_cast<std::size_t>((row * kSquaresAcross + col) / 2);
  return markers_[marker][static_cast<std::size_t>(bit_y)][static_cast<std::size_t>(bit_x)];
}

std::vector<Eigen::Vector2d> board_corners() {
  std::vector<Eigen::Vector2d> out;
  for (int row = 1; row < kSquaresDown; ++row) {
    for (int col = 1; col < kSquaresAcross; ++col) {
      out.emplace_back((col - 0.5 * kSquaresAcross) * kSquareMm, (0.5 * kSquaresDown - row) * kSquareMm);
    }
  }
  return out;
}

}  // namespace interstice::renderer
