#include "layout/trace_cells.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/median.h"
#include "layout/trace_outline.h"

namespace interstice::layout {
namespace {

constexpr double kSmallBreak_mm = 1.5;  // breaks in a line that are always closed
constexpr double kLargeBreak_mm = 4.0;  // closed where that parts a region into several cells
constexpr double kCompact = 0.15;  // inscribed disc over area: cells are above, gaps between lines far below
constexpr double kSmallestCell_mm2 = 60;

struct Regions {
  cv::Mat labels;             // int, 0 on walls
  std::vector<char> is_cell;  // by label
  std::vector<double> area_px;
};

cv::Mat disc(double radius_px) {
  const int size = 2 * std::max(1, static_cast<int>(std::lround(radius_px))) + 1;
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {size, size});
}

Regions regions_between(const cv::Mat& walls, double px_per_mm) {
  Regions r;
  const cv::Mat open = walls == 0;
  cv::Mat stats, centroids, depth;
  const int n = cv::connectedComponentsWithStats(open, r.labels, stats, centroids, 4);
  cv::distanceTransform(open, depth, cv::DIST_L2, 5);
  std::vector<float> deepest(static_cast<std::size_t>(n), 0);
  for (int y = 0; y < depth.rows; ++y) {
    for (int x = 0; x < depth.cols; ++x) {
      float& d = deepest[static_cast<std::size_t>(r.labels.at<int>(y, x))];
      d = std::max(d, depth.at<float>(y, x));
    }
  }
  for (int i = 0; i < n; ++i) {
    const double area = stats.at<int>(i, cv::CC_STAT_AREA), d = deepest[static_cast<std::size_t>(i)];
    r.area_px.push_back(area);
    r.is_cell.push_back(i > 0 && area > kSmallestCell_mm2 * px_per_mm * px_per_mm &&
                        std::numbers::pi * d * d > kCompact * area);
  }
  return r;
}

// Regions with small breaks closed; where closing larger breaks parts one into several cells, those instead.
cv::Mat cell_labels(const cv::Mat& walls, double px_per_mm, int& count) {
  cv::Mat small_closed, large_closed;
  cv::dilate(walls, small_closed, disc(kSmallBreak_mm / 2 * px_per_mm));
  cv::dilate(walls, large_closed, disc(kLargeBreak_mm / 2 * px_per_mm));
  const Regions coarse = regions_between(large_closed, px_per_mm),
                fine = regions_between(small_closed, px_per_mm);
  std::vector<std::vector<int>> parts(fine.is_cell.size());
  for (int y = 0; y < walls.rows; ++y) {
    for (int x = 0; x < walls.cols; ++x) {
      const int f = fine.labels.at<int>(y, x), c = coarse.labels.at<int>(y, x);
      if (f == 0 || c == 0 || !coarse.is_cell[static_cast<std::size_t>(c)]) continue;
      std::vector<int>& list = parts[static_cast<std::size_t>(f)];
      if (std::find(list.begin(), list.end(), c) == list.end()) list.push_back(c);
    }
  }
  // A piece whose own line has a large break runs into the gaps between the lines: what closing parts off
  // there and is as large as the other cells is that piece; forks of the gaps are much smaller.
  std::vector<double> sizes;
  for (std::size_t f = 1; f < fine.is_cell.size(); ++f) {
    if (fine.is_cell[f]) sizes.push_back(fine.area_px[f]);
  }
  const double usual_px = core::median(std::move(sizes));
  std::vector<int> from_fine(fine.is_cell.size(), 0), from_coarse(coarse.is_cell.size(), 0);
  count = 0;
  for (std::size_t f = 1; f < fine.is_cell.size(); ++f) {
    // A region with breaks in its lines is mostly cells; a network of gaps is not, wide places at its forks
    // apart.
    double compact_px = 0;
    for (const int c : parts[f]) compact_px += coarse.area_px[static_cast<std::size_t>(c)];
    if (parts[f].size() > 1 && compact_px > 0.5 * fine.area_px[f]) {
      for (const int c : parts[f]) from_coarse[static_cast<std::size_t>(c)] = ++count;
    } else if (fine.is_cell[f]) {
      from_fine[f] = ++count;
    } else {
      for (const int c : parts[f]) {
        if (coarse.area_px[static_cast<std::size_t>(c)] > 0.4 * usual_px) {
          from_coarse[static_cast<std::size_t>(c)] = ++count;
        }
      }
    }
  }
  cv::Mat labels(walls.size(), CV_32S, cv::Scalar(0));
  for (int y = 0; y < walls.rows; ++y) {
    for (int x = 0; x < walls.cols; ++x) {
      const int coarse_id = from_coarse[static_cast<std::size_t>(coarse.labels.at<int>(y, x))];
      labels.at<int>(y, x) =
          coarse_id > 0 ? coarse_id : from_fine[static_cast<std::size_t>(fine.labels.at<int>(y, x))];
    }
  }
  return labels;
}

// Grows every cell back by what closing took, up to the lines.
void grow_back(cv::Mat& labels, const cv::Mat& walls, int steps) {
  for (int k = 0; k < steps; ++k) {
    cv::Mat next = labels.clone();
    for (int y = 1; y + 1 < labels.rows; ++y) {
      for (int x = 1; x + 1 < labels.cols; ++x) {
        if (labels.at<int>(y, x) != 0 || walls.at<uchar>(y, x) != 0) continue;
        for (const auto& [dx, dy] : {std::pair(1, 0), std::pair(-1, 0), std::pair(0, 1), std::pair(0, -1)}) {
          const int near = labels.at<int>(y + dy, x + dx);
          if (near != 0) next.at<int>(y, x) = near;
        }
      }
    }
    labels = next;
  }
}

// How dark the cell's own line is, across the line; median along it.
double outline_ridge(const geometry::OrthoPicture& picture, const LinePicture& lines,
                     const geometry::Polygon& outline) {
  std::vector<double> along;
  for (const Eigen::Vector2d& uv : outline) {
    const Eigen::Vector2d px = picture.pixel_at(uv);
    const cv::Point at(static_cast<int>(std::lround(px.x())), static_cast<int>(std::lround(px.y())));
    if (cv::Rect({0, 0}, lines.ridge.size()).contains(at))
      along.push_back(static_cast<double>(lines.ridge.at<float>(at)));
  }
  return core::median(std::move(along));
}

// Strokes that belong to the outline, or are longer than handwriting. What joins them is at least half as dark
// as the outline is: a crease of the paper that runs from the outline into a label joins nothing.
cv::Mat strokes_of_lines(const cv::Mat& dark, const cv::Mat& depth, double mm_per_px) {
  constexpr double kOnOutline_mm = 1.0;
  cv::Mat labels, stats, centroids;
  const int n = cv::connectedComponentsWithStats(dark, labels, stats, centroids, 8);
  std::vector<char> keep(static_cast<std::size_t>(n), 0);
  for (int i = 1; i < n; ++i) {
    const double w = stats.at<int>(i, cv::CC_STAT_WIDTH), h = stats.at<int>(i, cv::CC_STAT_HEIGHT);
    keep[static_cast<std::size_t>(i)] = std::hypot(w, h) * mm_per_px > kLargestMark_mm;
  }
  const auto on_outline = static_cast<float>(kOnOutline_mm / mm_per_px);
  for (int y = 0; y < labels.rows; ++y) {
    for (int x = 0; x < labels.cols; ++x) {
      const float d = depth.at<float>(y, x);
      if (d > 0 && d < on_outline) keep[static_cast<std::size_t>(labels.at<int>(y, x))] = 1;
    }
  }
  keep[0] = 0;
  cv::Mat kept(labels.size(), CV_8U, cv::Scalar(0));
  for (int y = 0; y < labels.rows; ++y) {
    for (int x = 0; x < labels.cols; ++x) {
      if (keep[static_cast<std::size_t>(labels.at<int>(y, x))] != 0) kept.at<uchar>(y, x) = 255;
    }
  }
  return kept;
}

// Whether a line runs on inside the cell, deeper than its own width and wobble; spurs of noise are shorter or
// weaker.
bool line_inside(const geometry::OrthoPicture& picture, const LinePicture& lines,
                 const geometry::Polygon& outline) {
  constexpr double kDeep_mm = 3.0, kLong_mm = 4.0, kAsDark = 0.5;
  std::vector<cv::Point> points;
  for (const Eigen::Vector2d& uv : outline) {
    const Eigen::Vector2d px = picture.pixel_at(uv);
    points.emplace_back(static_cast<int>(std::lround(px.x())), static_cast<int>(std::lround(px.y())));
  }
  cv::Rect box = cv::boundingRect(points);  // and a border, for depth is measured from what lies outside
  box = cv::Rect(box.x - 2, box.y - 2, box.width + 4, box.height + 4) & cv::Rect({0, 0}, lines.lines.size());
  if (box.empty()) return false;
  cv::Mat mask(box.size(), CV_8U, cv::Scalar(0)), depth;
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{points}, cv::Scalar(255), cv::LINE_8, 0, -box.tl());
  cv::distanceTransform(mask, depth, cv::DIST_L2, 5);
  const double as_dark = std::max(lines.threshold, kAsDark * outline_ridge(picture, lines, outline));
  const cv::Mat strokes =
      strokes_of_lines((lines.lines(box) > 0) & (lines.ridge(box) > as_dark), depth, picture.mm_per_px);
  const cv::Mat deep =
      (depth > kDeep_mm / picture.mm_per_px) & strokes & (lines.ridge(box) > 1.5 * lines.threshold);
  cv::Mat labels, stats, centroids;
  const int n = cv::connectedComponentsWithStats(deep, labels, stats, centroids, 8);
  for (int i = 1; i < n; ++i) {
    const double w = stats.at<int>(i, cv::CC_STAT_WIDTH), h = stats.at<int>(i, cv::CC_STAT_HEIGHT);
    if (std::hypot(w, h) * picture.mm_per_px > kLong_mm) return true;
  }
  return false;
}

}  // namespace

std::vector<TracedCell> find_cells(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                                   const LinePicture& lines) {
  const double px_per_mm = 1 / picture.mm_per_px;
  // Outside the form, along its rim where lines cannot be told from the edge, and where nothing is seen:
  // walls.
  cv::Mat walls = lines.lines.clone();
  const double rim = form.length() - kRimBand_px * picture.mm_per_px;
  for (int y = 0; y < walls.rows; ++y) {
    for (int x = 0; x < walls.cols; ++x) {
      if (picture.map_at({static_cast<double>(x), static_cast<double>(y)}).norm() > rim)
        walls.at<uchar>(y, x) = 255;
    }
  }
  walls |= lines.unseen;
  int count = 0;
  cv::Mat labels = cell_labels(walls, px_per_mm, count);
  grow_back(labels, walls, static_cast<int>(std::ceil(kSmallBreak_mm / 2 * px_per_mm)) + 1);
  std::vector<TracedCell> cells;
  for (int id = 1; id <= count; ++id) {
    std::vector<std::vector<cv::Point>> contours;
    cv::Mat mask = labels == id;
    cv::morphologyEx(mask, mask, cv::MORPH_CLOSE,
                     disc(kSmallBreak_mm / 2 * px_per_mm));  // strokes that end inside
    cv::findContours(mask, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
    if (contours.empty()) continue;
    const auto& longest = *std::max_element(contours.begin(), contours.end(),
                                            [](const auto& a, const auto& b) { return a.size() < b.size(); });
    cells.push_back(outline_along_lines(picture, form, lines, longest));
    cells.back().line_ends_inside = line_inside(picture, lines, cells.back().outline);
  }
  // What lies across the line: step out over it.
  const double out_mm = 1.6;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    TracedCell& cell = cells[i];
    const std::vector<Eigen::Vector2d> normals = geometry::outward_normals(cell.outline);
    for (std::size_t k = 0; k < cell.outline.size(); ++k) {
      int across = -1;
      for (const double step : {out_mm * 0.6, out_mm}) {
        const Eigen::Vector2d px = picture.pixel_at(cell.outline[k] + step * normals[k]);
        const int x = static_cast<int>(std::lround(px.x())), y = static_cast<int>(std::lround(px.y()));
        if (x < 0 || y < 0 || x >= labels.cols || y >= labels.rows) break;
        const int id = labels.at<int>(y, x);
        if (id != 0 && id != static_cast<int>(i) + 1) across = id - 1;
      }
      cell.beyond.push_back(across);
    }
  }
  return cells;
}

}  // namespace interstice::layout
