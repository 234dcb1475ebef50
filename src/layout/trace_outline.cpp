#include "layout/trace_outline.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

constexpr double kStep_mm = 0.5;

double bilinear(const cv::Mat& picture, const Vector2d& px) {
  const int x = static_cast<int>(std::floor(px.x())), y = static_cast<int>(std::floor(px.y()));
  if (x < 0 || y < 0 || x + 1 >= picture.cols || y + 1 >= picture.rows) return 0;
  const double fx = px.x() - x, fy = px.y() - y;
  return (1 - fy) * ((1 - fx) * picture.at<float>(y, x) + fx * picture.at<float>(y, x + 1)) +
         fy * ((1 - fx) * picture.at<float>(y + 1, x) + fx * picture.at<float>(y + 1, x + 1));
}

// Mean of neighbours along the closed outline, binomial weights, `rounds` times.
geometry::Polygon smoothed(const geometry::Polygon& polygon, int rounds) {
  geometry::Polygon out = polygon;
  const std::size_t n = out.size();
  for (int k = 0; k < rounds; ++k) {
    geometry::Polygon next(n);
    for (std::size_t i = 0; i < n; ++i) next[i] = (out[(i + n - 1) % n] + 2 * out[i] + out[(i + 1) % n]) / 4;
    out = next;
  }
  return out;
}

// Distance along the outward normal to the line's centre; not a number where there is no line.
double line_offset(const geometry::OrthoPicture& picture, const LinePicture& lines, const Vector2d& at,
                   const Vector2d& normal, double inward_mm, double outward_mm) {
  const double step = 0.25 * picture.mm_per_px;
  const int n = static_cast<int>(std::ceil((inward_mm + outward_mm) / step)) + 1;
  std::vector<double> value;
  for (int k = 0; k < n; ++k) {
    value.push_back(bilinear(lines.ridge, picture.pixel_at(at + (k * step - inward_mm) * normal)));
  }
  double best = std::numeric_limits<double>::quiet_NaN(), best_score = 0;
  for (int k = 1; k + 1 < n; ++k) {
    const auto i = static_cast<std::size_t>(k);
    if (value[i] < 0.6 * lines.threshold || value[i] < value[i - 1] || value[i] < value[i + 1]) continue;
    const double d = k * step - inward_mm;
    const double score =
        value[i] / (0.3 + std::abs(d));  // a strong line near by, not a stronger one farther off
    if (score <= best_score) continue;
    const double bend = value[i - 1] - 2 * value[i] + value[i + 1];
    const double shift = bend < 0 ? 0.5 * (value[i - 1] - value[i + 1]) / bend : 0;
    best_score = score;
    best = d + std::clamp(shift, -1.0, 1.0) * step;
  }
  return best;
}

void fill_breaks(std::vector<double>& offset) {
  const std::size_t n = offset.size();
  const auto known = std::find_if(offset.begin(), offset.end(), [](double d) { return std::isfinite(d); });
  if (known == offset.end()) {
    std::fill(offset.begin(), offset.end(), 0.0);
    return;
  }
  const auto start = static_cast<std::size_t>(known - offset.begin());
  for (std::size_t k = 1; k <= n; ++k) {
    const std::size_t i = (start + k) % n;
    if (std::isfinite(offset[i])) continue;
    std::size_t last = k;
    while (!std::isfinite(offset[(start + last) % n])) ++last;
    const double a = offset[(start + k - 1) % n], b = offset[(start + last) % n];
    for (std::size_t m = k; m < last; ++m) {
      offset[(start + m) % n] =
          a + (b - a) * static_cast<double>(m - k + 1) / static_cast<double>(last - k + 1);
    }
    k = last;
  }
}

// Median of five along the outline: a stroke of handwriting that touches the line pulls no single point away.
std::vector<double> median_of_five(const std::vector<double>& offset) {
  const std::size_t n = offset.size();
  std::vector<double> out(n);
  for (std::size_t i = 0; i < n; ++i) {
    double five[5];
    for (std::size_t k = 0; k < 5; ++k) five[k] = offset[(i + n + k - 2) % n];
    std::nth_element(five, five + 2, five + 5);
    out[i] = five[2];
  }
  return out;
}

// Where the straight continuation of a side, given by its last points before the rim, meets the rim.
Vector2d carried_to_rim(const std::vector<Vector2d>& side, double rho) {
  const Vector2d from = side.back();
  Vector2d direction = side.back() - side.front();
  if (direction.norm() < 1e-9 || direction.dot(from) < 0.3 * direction.norm() * from.norm()) direction = from;
  direction.normalize();
  const double b = from.dot(direction), c = from.squaredNorm() - rho * rho;
  return from + (-b + std::sqrt(std::max(0.0, b * b - c))) * direction;
}

// Replaces the stretch along the rim's band by straight continuations of both sides and the rim between them.
geometry::Polygon closed_on_rim(const geometry::Polygon& outline, double rho, double band) {
  const std::size_t n = outline.size();
  const auto in_band = [&](std::size_t i) { return outline[i % n].norm() >= rho - band; };
  std::size_t start = n, count = 0;  // the longest stretch in the band, from its last point before
  for (std::size_t i = 0; i < n; ++i) {
    if (in_band(i) || !in_band(i + 1)) continue;
    std::size_t length = 1;
    while (length < n && in_band(i + length)) ++length;
    if (length > count) start = i, count = length;
  }
  if (start == n) return outline;
  constexpr std::size_t kSide = 6;  // points of a side used for its direction
  constexpr std::size_t kSkip = 2;  // points where the side already turns into the band's edge
  std::vector<Vector2d> before, after;
  for (std::size_t k = 0; k < kSide; ++k)
    before.push_back(outline[(start + n - kSkip - (kSide - 1 - k)) % n]);
  for (std::size_t k = 0; k < kSide; ++k)
    after.push_back(outline[(start + count + kSkip + (kSide - 1 - k)) % n]);
  const Vector2d p = carried_to_rim(before, rho), q = carried_to_rim(after, rho);
  const double from = std::atan2(p.y(), p.x());
  double turn = std::atan2(q.y(), q.x()) - from;
  if (turn < -std::numbers::pi) turn += 2 * std::numbers::pi;
  if (turn > std::numbers::pi) turn -= 2 * std::numbers::pi;
  geometry::Polygon out;
  for (std::size_t k = kSkip; k + count + kSkip <= n; ++k) out.push_back(outline[(start + count + k) % n]);
  const int steps = std::max(1, static_cast<int>(std::ceil(std::abs(turn) * rho / kStep_mm)));
  for (int k = 0; k <= steps; ++k) {
    const double t = from + turn * k / steps;
    out.push_back(rho * Vector2d(std::cos(t), std::sin(t)));
  }
  return out;
}

}  // namespace

TracedCell outline_along_lines(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                               const LinePicture& lines, const std::vector<cv::Point>& contour) {
  TracedCell cell;
  geometry::Polygon outline;
  for (const cv::Point& p : contour) outline.push_back(picture.map_at({p.x, p.y}));
  if (geometry::signed_area(outline) < 0) std::reverse(outline.begin(), outline.end());
  outline = geometry::resampled(smoothed(outline, 3), kStep_mm);
  const double rim = form.length(), band = (kRimBand_px + 3) * picture.mm_per_px;
  std::size_t undrawn = 0, unseen = 0, inner = 0;
  for (int pass = 0; pass < 3; ++pass) {
    const std::vector<Vector2d> normals = geometry::outward_normals(smoothed(outline, pass == 0 ? 4 : 2));
    const double inward = pass == 0 ? 0.3 : 0.7, outward = pass == 0 ? 1.8 : 0.7;
    std::vector<double> offset(outline.size(), 0.0);
    undrawn = unseen = inner = 0;
    for (std::size_t i = 0; i < outline.size(); ++i) {
      if (outline[i].norm() > rim - band) continue;  // replaced below
      offset[i] = line_offset(picture, lines, outline[i], normals[i], inward, outward);
      if (outline[i].norm() > rim - band - 1.0) continue;
      ++inner;
      if (!std::isfinite(offset[i])) ++undrawn;
      const Vector2d px = picture.pixel_at(outline[i] + 1.0 * normals[i]);
      const cv::Point at(static_cast<int>(std::lround(px.x())), static_cast<int>(std::lround(px.y())));
      if (cv::Rect({0, 0}, lines.unseen.size()).contains(at) && lines.unseen.at<uchar>(at) != 0) ++unseen;
    }
    fill_breaks(offset);
    offset = median_of_five(offset);
    for (std::size_t i = 0; i < outline.size(); ++i) outline[i] += offset[i] * normals[i];
    outline = geometry::resampled(outline, kStep_mm);
  }
  for (const Vector2d& p : outline) cell.on_rim |= p.norm() > rim - band;
  cell.outline = cell.on_rim ? closed_on_rim(smoothed(outline, 1), rim, band) : smoothed(outline, 1);
  cell.undrawn_share = inner > 0 ? static_cast<double>(undrawn) / static_cast<double>(inner) : 1;
  cell.unseen_share = inner > 0 ? static_cast<double>(unseen) / static_cast<double>(inner) : 1;
  return cell;
}

}  // namespace interstice::layout
