#include "layout/paper_line.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "core/median.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

constexpr double kShortest = 1.0 / 12;  // of the picture's longer side
constexpr double kStroke = 1.0 / 150;   // of it: the widest stroke, 2 mm of a page of 300 mm
constexpr double kLeastDark = 15;       // grey levels of 255: a pencil on white paper draws 40 and more

struct Strokes {
  cv::Mat dark;  // float: how much darker than both sides
  double threshold = 0;
};

Strokes strokes_of(const cv::Mat& grey) {
  Strokes strokes;
  cv::Mat smooth, closed;
  cv::GaussianBlur(grey, smooth, {}, 0.8);
  const int side = 2 * static_cast<int>(std::lround(kStroke * std::max(grey.rows, grey.cols) / 2)) + 1;
  cv::morphologyEx(smooth, closed, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_RECT, {side, side}));
  cv::Mat difference = closed - smooth;
  difference.convertTo(strokes.dark, CV_32F);
  // Grain closes to its own brightest places: that is the level that lines must stand over.
  std::vector<double> level;
  for (int y = 3; y < grey.rows; y += 7) {
    for (int x = 3; x < grey.cols; x += 7) level.push_back(strokes.dark.at<float>(y, x));
  }
  const double middle = core::median(level);
  strokes.threshold = middle + std::max(kLeastDark, 6 * core::robust_sd_about(level, middle));
  return strokes;
}

struct Along {
  double t, s, dark;  // along the line, across it
};

// One pixel's breadth of the line.
struct Slice {
  double low = 1e9, high = -1e9;
  bool empty() const { return high < low; }
  double width() const { return high - low + 1; }
};

struct Measured {
  std::vector<Along> points;
  std::vector<Slice> slices;
  double first = 0;  // t of the first slice
  double width = 0;  // of the stroke, median
};

Measured measured_along(const Strokes& strokes, const std::vector<cv::Point>& pixels, const Vector2d& at,
                        const Vector2d& direction) {
  Measured m;
  double last = -1e9;
  m.first = 1e9;
  for (const cv::Point& p : pixels) {
    const Vector2d d = Vector2d(p.x, p.y) - at;
    const double t = d.dot(direction), s = direction.x() * d.y() - direction.y() * d.x();
    m.points.push_back({t, s, static_cast<double>(strokes.dark.at<float>(p))});
    m.first = std::min(m.first, t), last = std::max(last, t);
  }
  m.slices.resize(static_cast<std::size_t>(last - m.first) + 1);
  for (const Along& p : m.points) {
    Slice& slice = m.slices[static_cast<std::size_t>(p.t - m.first)];
    slice.low = std::min(slice.low, p.s), slice.high = std::max(slice.high, p.s);
  }
  std::vector<double> widths;
  for (const Slice& slice : m.slices) {
    if (!slice.empty()) widths.push_back(slice.width());
  }
  m.width = core::median(std::move(widths));
  return m;
}

// All of it but ticks lies within its own width of the line, without gaps.
bool is_straight(const Measured& m) {
  constexpr double kOf = 0.9, kThin = 1.0 / 30;
  const double reach = std::max(2.5, m.width);
  std::size_t inside = 0, filled = 0;
  for (const Slice& slice : m.slices) {
    filled += !slice.empty();
    inside += !slice.empty() && slice.low > -reach && slice.high < reach;
  }
  const auto n = static_cast<double>(m.slices.size());
  return static_cast<double>(inside) > kOf * n && static_cast<double>(filled) > 0.97 * n &&
         m.width < kThin * n;
}

// Where the line ends, of the end at t -> -infinity if `sign` is -1.
double end_of(const Measured& m, int sign) {
  const double length = static_cast<double>(m.slices.size());
  const double edge = sign < 0 ? m.first : m.first + length;
  const double tick = 1.5 * m.width + 1, near = 0.04 * length;
  double sum = 0, weight = 0, highest = 0, lowest = 0;
  for (const Along& p : m.points) {
    if (std::abs(p.t - edge) > near || std::abs(p.s) < tick) continue;
    sum += p.dark * p.t, weight += p.dark;
    highest = std::max(highest, p.s), lowest = std::min(lowest, p.s);
  }
  if (weight > 0 && highest - lowest > 3 * m.width + 2) return sum / weight;
  // No tick: where the stroke's middle fades to half of its usual darkness.
  std::vector<double> dark(m.slices.size(), 0);
  for (const Along& p : m.points) {
    double& d = dark[static_cast<std::size_t>(p.t - m.first)];
    if (std::abs(p.s) < std::max(1.0, m.width / 2)) d = std::max(d, p.dark);
  }
  const double half = core::median(dark) / 2;
  const auto n = dark.size();
  for (std::size_t k = 0; k + 1 < n; ++k) {
    const std::size_t i = sign < 0 ? k : n - 1 - k;
    if (dark[i] >= half) return m.first + static_cast<double>(i) + (sign < 0 ? 0.0 : 1.0);
  }
  return edge;
}

std::optional<CheckLine> line_of(const Strokes& strokes, const std::vector<cv::Point>& pixels) {
  cv::Vec4f fit;
  cv::fitLine(pixels, fit, cv::DIST_HUBER, 0, 0.01, 0.001);
  Vector2d at(fit[2], fit[3]);
  const Vector2d direction(fit[0], fit[1]);
  Measured m = measured_along(strokes, pixels, at, direction);
  if (!is_straight(m)) return std::nullopt;
  return CheckLine{at + end_of(m, -1) * direction, at + end_of(m, 1) * direction};
}

}  // namespace

std::vector<CheckLine> straight_lines(const cv::Mat& grey) {
  const Strokes strokes = strokes_of(grey);
  cv::Mat labels, stats, centroids;
  const int n =
      cv::connectedComponentsWithStats(strokes.dark > strokes.threshold, labels, stats, centroids, 8);
  const double shortest = kShortest * std::max(grey.rows, grey.cols);
  std::vector<CheckLine> lines;
  for (int i = 1; i < n; ++i) {
    const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP),
                       stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
    if (std::hypot(box.width, box.height) < shortest) continue;
    std::vector<cv::Point> pixels;
    cv::findNonZero(labels(box) == i, pixels);
    for (cv::Point& p : pixels) p += box.tl();
    const std::optional<CheckLine> line = line_of(strokes, pixels);
    if (line && line->length_px() >= shortest) lines.push_back(*line);
  }
  std::sort(lines.begin(), lines.end(),
            [](const CheckLine& a, const CheckLine& b) { return a.length_px() > b.length_px(); });
  return lines;
}

}  // namespace interstice::layout
