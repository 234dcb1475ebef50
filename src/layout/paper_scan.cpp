#include "layout/paper_scan.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "core/errors.h"
#include "core/median.h"
#include "layout/paper_parting.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

constexpr double kLongest_px = 3600;  // of the picture worked on: 0.08 mm on a page of 297 mm
constexpr double kSmallestPiece_mm2 = 60, kScrap_mm2 = 15;
constexpr double kPaperStep_mm = 0.25;
constexpr double kInch_mm = 25.4;

// How far the colour is from the background's, and how far paper is at least.
struct Contrast {
  cv::Mat value;         // float, grey levels
  double threshold = 0;  // between background and paper
};

std::array<std::vector<double>, 3> border_colours(const cv::Mat& bgr) {
  std::array<std::vector<double>, 3> colours;
  const int band = std::max(2, std::max(bgr.rows, bgr.cols) / 200);
  for (int y = 0; y < bgr.rows; ++y) {
    const bool whole = y < band || y >= bgr.rows - band;
    for (int x = 0; x < bgr.cols;
         x += (whole || x < band || x >= bgr.cols - band) ? 1 : bgr.cols - 2 * band) {
      for (std::size_t c = 0; c < 3; ++c) colours[c].push_back(bgr.at<cv::Vec3b>(y, x)[static_cast<int>(c)]);
    }
  }
  return colours;
}

Contrast contrast_of(const PaperPicture& picture, const cv::Mat& bgr) {
  const std::array<std::vector<double>, 3> border = border_colours(bgr);
  cv::Scalar middle;
  double squares = 0;
  for (std::size_t c = 0; c < 3; ++c) {
    middle[static_cast<int>(c)] = core::median(border[c]);
    squares += std::pow(core::robust_sd_about(border[c], middle[static_cast<int>(c)]), 2);
  }
  Contrast contrast;
  cv::Mat smooth, away;
  cv::GaussianBlur(bgr, smooth, {}, 0.7);
  smooth.convertTo(away, CV_32FC3);
  away -= middle;
  std::vector<cv::Mat> channels;
  cv::split(away, channels);
  cv::sqrt(channels[0].mul(channels[0]) + channels[1].mul(channels[1]) + channels[2].mul(channels[2]),
           contrast.value);
  cv::Mat eight, ignored;
  contrast.value.convertTo(eight, CV_8U, 0.5);
  const double otsu = 2 * cv::threshold(eight, ignored, 0, 255, cv::THRESH_BINARY | cv::THRESH_OTSU);
  std::vector<double> paper;
  for (int y = 0; y < bgr.rows; y += 5) {
    for (int x = 0; x < bgr.cols; x += 5) {
      const double v = static_cast<double>(contrast.value.at<float>(y, x));
      if (v > otsu) paper.push_back(v);
    }
  }
  // A third of the way: papers of two colours are papers both.
  contrast.threshold = std::max({core::median(paper) / 3, 6 * std::sqrt(squares), 12.0});
  if (paper.empty() || core::median(paper) < 1.5 * contrast.threshold) {
    throw core::MeasureError(
        picture.file +
        ": no pieces of paper stand out from the background: lay a sheet of a much darker "
        "(or lighter) colour over them, and scan in colour");
  }
  return contrast;
}

// The check line: the one that fits the file's resolution, else the longest.
CheckLine chosen_line(const PaperPicture& picture, const std::vector<CheckLine>& lines, double check_line_mm,
                      double shrunk) {
  if (lines.empty()) {
    throw core::InputError(
        picture.file,
        "no check line found: draw a straight dark line of known length, with a short tick "
        "across either end, on a paper of its own beside the pieces, and scan it with them");
  }
  if (!picture.dpi) return lines.front();
  const auto dpi_of = [&](const CheckLine& line) {
    return line.length_px() / shrunk / check_line_mm * kInch_mm;
  };
  const CheckLine& best =
      *std::min_element(lines.begin(), lines.end(), [&](const CheckLine& a, const CheckLine& b) {
        return std::abs(std::log(dpi_of(a) / *picture.dpi)) < std::abs(std::log(dpi_of(b) / *picture.dpi));
      });
  const double off = dpi_of(best) / *picture.dpi - 1;
  if (std::abs(off) > kScaleAgrees) {
    throw core::InputError(
        picture.file,
        fmt::format("its check line is {:.0f} pixels long: at {:g} mm that is {:.1f} dots per inch, but the "
                    "picture has "
                    "{:.1f} by its file or --dpi, {:.1f} % {}; measure the line again, or say --dpi",
                    best.length_px() / shrunk, check_line_mm, dpi_of(best), *picture.dpi, 100 * std::abs(off),
                    off > 0 ? "less" : "more"));
  }
  return best;
}

double at(const cv::Mat& value, const Vector2d& px) {
  const int x = static_cast<int>(std::floor(px.x())), y = static_cast<int>(std::floor(px.y()));
  if (x < 0 || y < 0 || x + 1 >= value.cols || y + 1 >= value.rows) return 0;
  const double fx = px.x() - x, fy = px.y() - y;
  const auto v = [&](int dy, int dx) { return static_cast<double>(value.at<float>(y + dy, x + dx)); };
  return (1 - fy) * ((1 - fx) * v(0, 0) + fx * v(0, 1)) + fy * ((1 - fx) * v(1, 0) + fx * v(1, 1));
}

// How far outside the point the colour passes half of the paper's own, coming from outside; px. Where another
// paper is within reach, the background between them comes first.
double edge_offset(const cv::Mat& value, const Vector2d& p, const Vector2d& out, double half, double reach) {
  constexpr double kStep = 0.25;
  double before = at(value, p + reach * out);
  for (double s = reach - kStep; s > -reach; s -= kStep) {
    const double here = at(value, p + s * out);
    if (here >= half && before < half) return s + kStep * (here - half) / std::max(1e-9, here - before);
    before = here;
  }
  return 0;
}

// In the picture, y down, counter-clockwise as seen with y up; from the region's outermost pixels.
geometry::Polygon fine_outline(const Contrast& contrast, const std::vector<cv::Point>& contour, double paper,
                               double mm_per_px) {
  geometry::Polygon line;  // y up, so that outward normals hold
  for (const cv::Point& p : contour) line.emplace_back(p.x, -p.y);
  if (geometry::signed_area(line) < 0) std::reverse(line.begin(), line.end());
  line = geometry::resampled(line, kPaperStep_mm / mm_per_px);
  const std::size_t n = line.size();
  geometry::Polygon calm(n);
  for (std::size_t i = 0; i < n; ++i) calm[i] = (line[(i + n - 1) % n] + 2 * line[i] + line[(i + 1) % n]) / 4;
  const std::vector<Vector2d> normals = geometry::outward_normals(calm);
  const double reach = std::max(3.0, 0.5 / mm_per_px);
  std::vector<double> offset(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d p(calm[i].x(), -calm[i].y()), out(normals[i].x(), -normals[i].y());
    offset[i] = edge_offset(contrast.value, p, out, paper / 2, reach);
  }
  geometry::Polygon fine(n);
  for (std::size_t i = 0; i < n; ++i) {
    std::vector<double> five;  // a hair or a frayed corner pulls no single point away
    for (std::size_t k = 0; k < 5; ++k) five.push_back(offset[(i + n + k - 2) % n]);
    fine[i] = calm[i] + core::median(five) * normals[i];
  }
  return geometry::resampled(fine, 2 * kPaperStep_mm / mm_per_px);
}

bool touches_edge(const cv::Rect& box, const cv::Size& size) {
  return box.x <= 1 || box.y <= 1 || box.x + box.width >= size.width - 1 ||
         box.y + box.height >= size.height - 1;
}

bool ends_at_edge(const CheckLine& line, const cv::Size& size, int within_px) {
  const cv::Rect inside(within_px, within_px, size.width - 2 * within_px, size.height - 2 * within_px);
  return !inside.contains(cv::Point(cvRound(line.from_px.x()), cvRound(line.from_px.y()))) ||
         !inside.contains(cv::Point(cvRound(line.to_px.x()), cvRound(line.to_px.y())));
}

// Rows of papers from above, each from the left.
void sort_in_rows(std::vector<PaperPiece>& pieces, std::vector<cv::Rect> boxes) {
  std::vector<std::size_t> order(pieces.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  const auto middle = [&](std::size_t i) { return boxes[i].y + boxes[i].height / 2; };
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return middle(a) < middle(b); });
  std::vector<std::size_t> sorted;
  for (std::size_t from = 0; from < order.size();) {
    // A row: whose middles lie above the lower edge of its first paper's middle half.
    const int below = middle(order[from]) + boxes[order[from]].height / 2;
    std::size_t to = from;
    while (to < order.size() && middle(order[to]) <= below) ++to;
    std::sort(order.begin() + static_cast<std::ptrdiff_t>(from),
              order.begin() + static_cast<std::ptrdiff_t>(to),
              [&](std::size_t a, std::size_t b) { return boxes[a].x < boxes[b].x; });
    for (; from < to; ++from) sorted.push_back(order[from]);
  }
  std::vector<PaperPiece> out;
  for (const std::size_t i : sorted) out.push_back(std::move(pieces[i]));
  pieces = std::move(out);
}

PaperPiece piece_of(const geometry::Polygon& fine_px_up, double mm_per_px, double shrunk) {
  PaperPiece piece;
  const Vector2d middle = geometry::centroid(fine_px_up);
  for (const Vector2d& p : fine_px_up) {
    piece.outline.push_back((p - middle) * mm_per_px);
    piece.outline_px.push_back((Vector2d(p.x(), -p.y()) + Vector2d(0.5, 0.5)) / shrunk - Vector2d(0.5, 0.5));
  }
  return piece;
}

std::string place_words(const Vector2d& px, double mm_per_px) {
  return fmt::format("x = {:.0f}, y = {:.0f} mm", px.x() * mm_per_px, px.y() * mm_per_px);
}

using Contour = std::vector<cv::Point>;

std::vector<Contour> contours_of(const cv::Mat& paper) {
  std::vector<Contour> contours;
  cv::findContours(paper, contours, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  return contours;
}

cv::Mat filled(const Contour& contour, const cv::Rect& box) {
  cv::Mat inside(box.size(), CV_8U, cv::Scalar(0));
  cv::drawContours(inside, std::vector<Contour>{contour}, 0, cv::Scalar(255), cv::FILLED, cv::LINE_8,
                   cv::noArray(), 0, -box.tl());
  return inside;
}

// Cuts papers that touch apart, in the mask and in the colours that outlines are drawn from, and tells where.
void part_touching(cv::Mat& paper, cv::Mat& value, double mm_per_px, PaperPage& page) {
  constexpr double kCell_mm = 0.25, kLeastHalf_mm = 2;
  const int by = std::max(1, static_cast<int>(std::lround(kCell_mm / mm_per_px)));
  const double coarse_mm = by * mm_per_px;
  for (const Contour& contour : contours_of(paper)) {
    if (cv::contourArea(contour) * mm_per_px * mm_per_px < 2 * kSmallestPiece_mm2) continue;
    const cv::Rect box = cv::boundingRect(contour);
    cv::Mat coarse;
    cv::resize(filled(contour, box), coarse, {std::max(1, box.width / by), std::max(1, box.height / by)}, 0,
               0, cv::INTER_AREA);
    const Vector2d shrink(static_cast<double>(coarse.cols) / box.width,
                          static_cast<double>(coarse.rows) / box.height);
    const auto whole = [&](const Vector2d& p) {
      return Vector2d((p.x() + 0.5) / shrink.x() - 0.5 + box.x, (p.y() + 0.5) / shrink.y() - 0.5 + box.y);
    };
    for (const PaperNeck& neck :
         paper_necks(coarse > 127, kLeastHalf_mm / coarse_mm, kSmallestPiece_mm2 / (coarse_mm * coarse_mm))) {
      const Vector2d from = whole(neck.from_px), to = whole(neck.to_px), middle = (from + to) / 2;
      const std::string where = page.file + ": near " + place_words(middle, mm_per_px);
      const double width_mm = (to - from).norm() * mm_per_px;
      if (neck.of_width >= kNeck) {
        page.look_again.push_back(
            where +
            fmt::format(": a paper is only {:.0f} mm wide there; are these two that touch?", width_mm));
        continue;
      }
      const Vector2d beyond = 1.5 * coarse_mm / mm_per_px * (to - from) / std::max(1e-9, (to - from).norm());
      const auto pixel = [](const Vector2d& p) { return cv::Point(cvRound(p.x()), cvRound(p.y())); };
      // Two pixels wide, so that regions that touch at corners of pixels are apart too.
      cv::line(paper, pixel(from - beyond), pixel(to + beyond), cv::Scalar(0), 2);
      cv::line(value, pixel(from - beyond), pixel(to + beyond), cv::Scalar(0), 1);
      page.look_again.push_back(
          where + fmt::format(": two papers touch along {:.1f} mm and were parted there; lay them apart and "
                              "scan again if their edges count there",
                              width_mm));
    }
  }
}

void find_pieces(Contrast contrast, const CheckLine& line, double mm_per_px, double shrunk, PaperPage& page) {
  const auto px = [&](double mm) { return std::max(1, static_cast<int>(std::lround(mm / mm_per_px))); };
  cv::Mat paper = contrast.value > contrast.threshold;
  // Hairs and dust go; a pencil line along the edge does not part what it surrounds.
  const int brush = 2 * px(0.3) + 1;
  cv::morphologyEx(paper, paper, cv::MORPH_OPEN,
                   cv::getStructuringElement(cv::MORPH_ELLIPSE, {brush, brush}));
  // The check line parts no paper, wherever it ends.
  const auto pixel = [](const Vector2d& p) { return cv::Point(cvRound(p.x()), cvRound(p.y())); };
  cv::line(paper, pixel(line.from_px), pixel(line.to_px), cv::Scalar(255), px(1.0));
  part_touching(paper, contrast.value, mm_per_px, page);
  const cv::Point2f on_line(static_cast<float>((line.from_px.x() + line.to_px.x()) / 2),
                            static_cast<float>((line.from_px.y() + line.to_px.y()) / 2));
  std::vector<cv::Rect> boxes;
  for (const Contour& contour : contours_of(paper)) {
    const double area_mm2 = cv::contourArea(contour) * mm_per_px * mm_per_px;
    const cv::Rect box = cv::boundingRect(contour);
    const Vector2d middle(box.x + 0.5 * box.width, box.y + 0.5 * box.height);
    if (cv::pointPolygonTest(contour, on_line, false) >= 0) {
      if (ends_at_edge(line, paper.size(), px(3)))
        page.left_out.push_back(page.file + ": the check line ends at the picture's edge; is it cut off?");
      continue;
    }
    if (area_mm2 < kSmallestPiece_mm2) {
      if (area_mm2 > kScrap_mm2) {
        page.left_out.push_back(page.file + ": a scrap of " + fmt::format("{:.0f}", area_mm2) +
                                " square millimetres near " + place_words(middle, mm_per_px));
      }
      continue;
    }
    if (touches_edge(box, paper.size())) {
      page.left_out.push_back(page.file + ": a paper near " + place_words(middle, mm_per_px) +
                              " is cut off by the picture's edge");
      continue;
    }
    const cv::Mat inside = filled(contour, box);
    std::vector<double> values;
    for (int y = 0; y < box.height; y += 2) {
      for (int x = 0; x < box.width; x += 2) {
        if (inside.at<uchar>(y, x) != 0)
          values.push_back(static_cast<double>(contrast.value.at<float>(box.y + y, box.x + x)));
      }
    }
    page.pieces.push_back(
        piece_of(fine_outline(contrast, contour, core::median(values), mm_per_px), mm_per_px, shrunk));
    boxes.push_back(box);
  }
  sort_in_rows(page.pieces, boxes);
}

}  // namespace

PaperPage read_papers(const PaperPicture& picture, double check_line_mm) {
  PaperPage page;
  page.file = picture.file;
  page.width_px = picture.bgr.cols, page.height_px = picture.bgr.rows;
  const double shrunk = std::min(1.0, kLongest_px / std::max(picture.bgr.rows, picture.bgr.cols));
  cv::Mat bgr = picture.bgr, grey;
  if (shrunk < 1) cv::resize(picture.bgr, bgr, {}, shrunk, shrunk, cv::INTER_AREA);
  cv::cvtColor(bgr, grey, cv::COLOR_BGR2GRAY);
  const CheckLine line = chosen_line(picture, straight_lines(grey), check_line_mm, shrunk);
  const double mm_per_px = check_line_mm / line.length_px();
  page.mm_per_px = mm_per_px * shrunk;
  if (page.mm_per_px > kCoarsest_mm) {
    throw core::InputError(
        picture.file,
        fmt::format("is too coarse: its pixels are {:.2f} mm; scan at 200 dots per inch or more",
                    page.mm_per_px));
  }
  const auto whole = [&](const Vector2d& p) -> Vector2d {
    return (p + Vector2d(0.5, 0.5)) / shrunk - Vector2d(0.5, 0.5);
  };
  page.check_line = {whole(line.from_px), whole(line.to_px)};
  find_pieces(contrast_of(picture, bgr), line, mm_per_px, shrunk, page);
  if (page.pieces.empty()) {
    throw core::MeasureError(picture.file +
                             ": no piece of paper lies whole in the picture: lay the pieces apart from one "
                             "another and from the edges, on a sheet of a much darker or lighter colour");
  }
  return page;
}

}  // namespace interstice::layout
