// Pieces of a layout as papers on a flatbed: flattened and drawn by the test. The truth is what was drawn.
//
// Flattening is independent of the program's: classical scaling (Torgerson, Psychometrika 17, 1952) of all
// distances along the form between an outline's points.
#pragma once

#include <Eigen/Eigenvalues>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <random>
#include <string>
#include <vector>

#include "geometry/form_surface.h"
#include "geometry/polygon.h"
#include "layout/paper_scan.h"

namespace interstice::flatbed {

using Eigen::Vector2d;
using Eigen::Vector3d;

// Along the form: the chord of places, brought down to it, in steps of 2 mm.
inline double along_form(const geometry::Profile& form, const Vector2d& a, const Vector2d& b) {
  const std::vector<Vector2d> line = geometry::surface_line(form, a, b, 2.0);
  double length = 0;
  for (std::size_t k = 1; k < line.size(); ++k)
    length += (form.point(line[k]) - form.point(line[k - 1])).norm();
  return length;
}

// y towards the pole, counter-clockwise, about its middle; points every 2 mm.
inline geometry::Polygon flattened(const geometry::Profile& form, const geometry::Polygon& on_map) {
  geometry::Polygon uv;  // steps of 2 mm on the form, not on the map
  const geometry::Polygon dense = geometry::resampled(on_map, 0.25);
  for (const Vector2d& p : dense) {
    if (uv.empty() || (form.point(p) - form.point(uv.back())).norm() >= 2.0) uv.push_back(p);
  }
  if ((form.point(uv.front()) - form.point(uv.back())).norm() < 1.0) uv.pop_back();
  const auto n = static_cast<Eigen::Index>(uv.size());
  Eigen::MatrixXd squares = Eigen::MatrixXd::Zero(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index j = 0; j < i; ++j) {
      const double d = along_form(form, uv[static_cast<std::size_t>(i)], uv[static_cast<std::size_t>(j)]);
      squares(i, j) = squares(j, i) = d * d;
    }
  }
  const Eigen::MatrixXd centred =
      Eigen::MatrixXd::Identity(n, n) - Eigen::MatrixXd::Constant(n, n, 1.0 / static_cast<double>(n));
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(-0.5 * centred * squares * centred);
  geometry::Polygon flat;
  for (Eigen::Index i = 0; i < n; ++i) {
    flat.emplace_back(solver.eigenvectors()(i, n - 1) * std::sqrt(solver.eigenvalues()(n - 1)),
                      solver.eigenvectors()(i, n - 2) * std::sqrt(solver.eigenvalues()(n - 2)));
  }
  if (geometry::signed_area(flat) < 0) {
    for (Vector2d& p : flat) p.x() = -p.x();
  }
  // Turned so that the way to the pole is up: least squares against tangent plane at the middle.
  const Vector2d middle = geometry::centroid(on_map);
  const Vector3d origin = form.point(middle), x = form.along_ring(middle), y = form.towards_pole(middle);
  double cross = 0, dot = 0;
  for (std::size_t i = 0; i < uv.size(); ++i) {
    const Vector3d d = form.point(uv[i]) - origin;
    const Vector2d t(d.dot(x), d.dot(y));
    cross += flat[i].x() * t.y() - flat[i].y() * t.x(), dot += flat[i].dot(t);
  }
  const double turn = std::atan2(cross, dot);
  for (Vector2d& p : flat)
    p = Vector2d(std::cos(turn) * p.x() - std::sin(turn) * p.y(),
                 std::sin(turn) * p.x() + std::cos(turn) * p.y());
  const Vector2d c = geometry::centroid(flat);
  for (Vector2d& p : flat) p -= c;
  return flat;
}

struct SheetOptions {
  double dpi = 300;
  cv::Scalar background{70, 60, 45};
  double check_line_mm = 150;
  double most_turn_deg = 12;
  bool ticks = true;
  double blur_px = 0.8, noise = 2;
};

struct Sheet {
  layout::PaperPicture picture;
  std::vector<geometry::Polygon> outlines_mm;  // as drawn: x right, y up, of the picture; by paper given
  std::vector<Vector2d> middles_px;
};

// Drawn four times as fine and averaged: edges to an eighth of a pixel's quarter.
inline void fill(cv::Mat& page, const geometry::Polygon& mm_up, double px_per_mm, const cv::Scalar& colour) {
  constexpr int kFine = 4;
  Vector2d low(1e9, 1e9), high(-1e9, -1e9);
  for (const Vector2d& p : mm_up) low = low.cwiseMin(p), high = high.cwiseMax(p);
  const cv::Point from(cvFloor(low.x() * px_per_mm) - 2, cvFloor(-high.y() * px_per_mm) - 2);
  const cv::Rect box =
      cv::Rect(from, cv::Point(cvCeil(high.x() * px_per_mm) + 2, cvCeil(-low.y() * px_per_mm) + 2)) &
      cv::Rect({0, 0}, page.size());
  cv::Mat mask(box.size() * kFine, CV_8U, cv::Scalar(0)), share;
  std::vector<cv::Point> line;
  for (const Vector2d& p : mm_up)
    line.emplace_back(cvRound(((p.x() * px_per_mm - box.x) * kFine - 0.5) * 256),
                      cvRound(((-p.y() * px_per_mm - box.y) * kFine - 0.5) * 256));
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{line}, cv::Scalar(255), cv::LINE_8, 8);
  cv::resize(mask, share, box.size(), 0, 0, cv::INTER_AREA);
  for (int y = 0; y < box.height; ++y) {
    for (int x = 0; x < box.width; ++x) {
      const double w = share.at<uchar>(y, x) / 255.0;
      cv::Vec3b& at = page.at<cv::Vec3b>(box.y + y, box.x + x);
      for (int c = 0; c < 3; ++c) at[c] = cv::saturate_cast<uchar>((1 - w) * at[c] + w * colour[c]);
    }
  }
}

// Papers where they lie, mm, y up; the sheet is `height_mm` high.
inline Sheet drawn(const std::vector<geometry::Polygon>& placed, double height_mm, const SheetOptions& o) {
  Sheet sheet;
  const double width_mm = 210, k = o.dpi / 25.4;
  sheet.outlines_mm = placed;
  const int rows = cvRound(height_mm * k), columns = cvRound(width_mm * k);
  cv::Mat page(rows, columns, CV_8UC3, o.background);
  const cv::Scalar paper_colours[] = {{236, 240, 242}, {150, 190, 215}, {225, 228, 230}};
  fill(page, {{20, -5}, {200, -5}, {200, -17}, {20, -17}}, k, paper_colours[0]);
  const auto ink = [&](double x0, double y0, double x1, double y1) {
    fill(page, {{x0, -y1}, {x1, -y1}, {x1, -y0}, {x0, -y0}}, k, cv::Scalar(40, 40, 40));
  };
  ink(30, 9.875, 30 + o.check_line_mm, 10.125);
  for (const double at : {30.0, 30 + o.check_line_mm}) {
    if (o.ticks) ink(at - 0.125, 8, at + 0.125, 12);
  }
  for (std::size_t i = 0; i < placed.size(); ++i) {
    const Vector2d middle = geometry::centroid(placed[i]);
    sheet.middles_px.push_back(Vector2d(middle.x() * k - 0.5, -middle.y() * k - 0.5));
    fill(page, sheet.outlines_mm[i], k, paper_colours[i % 3]);
    cv::putText(page, "B" + std::to_string(i),
                cv::Point(cvRound(sheet.middles_px[i].x() - 30), cvRound(sheet.middles_px[i].y())),
                cv::FONT_HERSHEY_SIMPLEX, 1.4, cv::Scalar(60, 60, 70), 3, cv::LINE_AA);
  }
  if (o.blur_px > 0) cv::GaussianBlur(page, page, {}, o.blur_px);
  cv::Mat noise(page.size(), CV_16SC3), wide;
  cv::RNG rng(5);
  rng.fill(noise, cv::RNG::NORMAL, 0, o.noise);
  page.convertTo(wide, CV_16SC3);
  wide += noise;
  wide.convertTo(sheet.picture.bgr, CV_8UC3);
  sheet.picture.file = "papers.png";
  return sheet;
}

inline Sheet scanned(const std::vector<geometry::Polygon>& papers, const SheetOptions& o = {}) {
  std::vector<geometry::Polygon> placed;
  std::mt19937 random(11);
  std::uniform_real_distribution<double> even(-1, 1);
  const double width_mm = 210;
  double x = 8, row = 0, top = 22;
  for (const geometry::Polygon& paper : papers) {  // y down here
    const double turn = o.most_turn_deg * even(random) * std::numbers::pi / 180;
    Vector2d low(1e9, 1e9), high(-1e9, -1e9);
    geometry::Polygon turned;
    for (const Vector2d& p : paper) {
      turned.emplace_back(std::cos(turn) * p.x() - std::sin(turn) * p.y(),
                          std::sin(turn) * p.x() + std::cos(turn) * p.y());
      low = low.cwiseMin(turned.back()), high = high.cwiseMax(turned.back());
    }
    if (x + (high - low).x() > width_mm - 8) x = 8, top += row + 4, row = 0;
    const Vector2d move(x - low.x(), -top - high.y());
    for (Vector2d& p : turned) p += move;
    placed.push_back(turned);
    x += (high - low).x() + 4, row = std::max(row, (high - low).y());
  }
  return drawn(placed, top + row + 8, o);
}

}  // namespace interstice::flatbed
