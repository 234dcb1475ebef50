#include "form/roundness.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace interstice::form {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kSmooth_mm = 3;  // bumps smaller than this are patches' noise
constexpr double kLeastBump_mm =
    0.4;                     // smaller ones say nothing to a maker: pieces are glued to half a millimetre
constexpr double kSure = 5;  // standard deviations
constexpr double kRingStep_mm = 5;
constexpr double kSeenRing = 0.25;  // part of a ring that must be seen to know its mean
constexpr double kSteep = 0.3;      // least radial part of the normal where a ring's width can be told

Ring ring_at(const HeightModel& model, const geometry::Profile& form, double rho) {
  const geometry::MeridianPoint at = form.at(rho);
  Ring ring;
  ring.rho = rho, ring.r_mm = at.rz.x(), ring.z_mm = at.rz.y();
  double low = 1e9, high = -1e9;
  for (int k = 0; k < 72; ++k) {
    const double theta = 2 * std::numbers::pi * k / 72;
    const Vector2d one = model.harmonic(1, rho);
    const double h = model.around(rho, theta) - one.x() * std::cos(theta) - one.y() * std::sin(theta);
    low = std::min(low, h), high = std::max(high, h);
  }
  ring.out_of_round_mm = high - low;
  if (at.normal.x() > kSteep) {
    ring.centre_mm = model.harmonic(1, rho) / at.normal.x();
    const Vector2d two = model.harmonic(2, rho) / at.normal.x();
    ring.oval_mm = 4 * two.norm();  // both ends of the larger diameter, less both of the smaller
    ring.oval_angle = 0.5 * std::atan2(two.y(), two.x());
    if (ring.oval_angle < 0) ring.oval_angle += std::numbers::pi;
  }
  return ring;
}

// The line through the middles of rings: how much it leans.
void tell_lean(Shape& shape) {
  double n = 0, z = 0, zz = 0;
  Vector2d c(0, 0), cz(0, 0);
  for (const Ring& ring : shape.rings) {
    if (ring.centre_mm == Vector2d(0, 0)) continue;
    n += 1, z += ring.z_mm, zz += ring.z_mm * ring.z_mm;
    c += ring.centre_mm, cz += ring.z_mm * ring.centre_mm;
  }
  const double spread = zz - z * z / std::max(1.0, n);
  if (n < 3 || spread < 1) return;
  const Vector2d slope = (cz - c * (z / n)) / spread;
  shape.lean_deg = std::atan(slope.norm()) * 180 / std::numbers::pi;
  shape.lean_angle = std::atan2(slope.y(), slope.x());
}

// Values where they are known, averaged over about `sigma`; the weight says how much was known.
struct Smoothed {
  cv::Mat value, weight, spread;  // spread: standard deviation of the values averaged
};

Smoothed smoothed(const cv::Mat& field, double sigma) {
  // NaN differs from itself. NOLINTNEXTLINE(misc-redundant-expression)
  const cv::Mat known = field == field;
  cv::Mat values = field.clone(), weight;
  values.setTo(0, ~known);
  known.convertTo(weight, CV_32F, 1.0 / 255);
  Smoothed out;
  cv::GaussianBlur(values, out.value, {0, 0}, sigma);
  cv::GaussianBlur(weight, out.weight, {0, 0}, sigma);
  cv::divide(out.value, cv::max(out.weight, 1e-3), out.value);
  cv::Mat squares;
  cv::GaussianBlur(values.mul(values), squares, {0, 0}, sigma);
  cv::divide(squares, cv::max(out.weight, 1e-3), squares);
  cv::sqrt(cv::max(squares - out.value.mul(out.value), 0), out.spread);
  return out;
}

// What is left of the heights, strays taken out.
cv::Mat left_over(const HeightModel& model, const Shape& shape, double seen_to) {
  const surface::MapGrid& grid = shape.heights.grid;
  cv::Mat left(grid.side(), grid.side(), CV_32F, cv::Scalar(NAN));
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const double h = static_cast<double>(shape.heights.height.at<float>(row, column));
      const Vector2d uv = grid.uv(column, row);
      const double rho = uv.norm();
      if (!std::isfinite(h) || rho > seen_to) continue;
      left.at<float>(row, column) =
          static_cast<float>(h - model.mean(rho) - model.around(rho, std::atan2(uv.y(), uv.x())));
    }
  }
  return left;
}

void find_bumps(const Smoothed& left, double least_mm, const geometry::Profile& form, Shape& shape) {
  const surface::MapGrid& grid = shape.heights.grid;
  const double cell = grid.step_mm * grid.step_mm;
  // The top of a bump is one smooth place that is seen all round; where the photos show too little, heights
  // scatter as much as they stand out.
  constexpr double kScatter_mm = 0.15, kSlope = 0.2;
  const cv::Mat smooth = (left.weight > 0.6f) & (left.spread < kScatter_mm + kSlope * cv::abs(left.value));
  for (const double sign : {1.0, -1.0}) {
    const cv::Mat value = left.value * sign;
    const cv::Mat out = (value > least_mm / 2) & (left.weight > 0.3f);
    cv::Mat labels, stats, centres;
    const int n = cv::connectedComponentsWithStats(out, labels, stats, centres, 8);
    for (int i = 1; i < n; ++i) {
      // Larger than what one mistaken patch and its neighbourhood cover.
      constexpr double kLeastArea_mm2 = 40;
      if (stats.at<int>(i, cv::CC_STAT_AREA) * cell < kLeastArea_mm2) continue;
      double peak = 0;
      cv::Point at;
      cv::minMaxLoc(value, nullptr, &peak, nullptr, &at, (labels == i) & smooth);
      if (peak < least_mm) continue;
      const cv::Mat half = (value > peak / 2) & (labels == i);
      const Vector3d middle = form.point(grid.uv(at.x, at.y));
      std::vector<cv::Point> points;
      cv::findNonZero(half, points);
      double reach = 0;
      for (const cv::Point& p : points)
        reach = std::max(reach, (form.point(grid.uv(p.x, p.y)) - middle).norm());
      shape.bumps.push_back({grid.uv(at.x, at.y), sign * peak, 2 * reach});
    }
  }
  std::sort(shape.bumps.begin(), shape.bumps.end(),
            [](const Bump& a, const Bump& b) { return std::abs(a.height_mm) > std::abs(b.height_mm); });
}

void tell_seen(const geometry::Profile& base, double seen_to, Shape& shape) {
  const surface::MapGrid& grid = shape.heights.grid;
  const auto bins = static_cast<std::size_t>(std::ceil(base.length() / 2)) + 1;
  std::vector<double> all(bins, 0), known(bins, 0);
  double area = 0, seen_area = 0;
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const double rho = grid.uv(column, row).norm();
      const auto bin = static_cast<std::size_t>(rho / 2);
      if (bin >= bins || rho > base.length()) continue;
      const bool is = rho < seen_to && std::isfinite(shape.heights.height.at<float>(row, column));
      const double share = rho > 1 ? base.at(rho).rz.x() / rho : 1.0;  // of the map's area
      all[bin] += 1, known[bin] += is, area += share, seen_area += is * share;
    }
  }
  shape.seen_share = area > 0 ? seen_area / area : 0;
  double rho = 0;
  const std::vector<Vector2d>& rz = shape.profile.points();
  for (std::size_t i = 0; i < rz.size(); ++i) {
    if (i > 0) rho += (rz[i] - rz[i - 1]).norm();
    const auto bin = std::min(bins - 1, static_cast<std::size_t>(rho / 2));
    shape.seen.push_back(rho < seen_to && known[bin] >= kSeenRing * all[bin] && known[bin] > 0);
  }
  std::size_t first = 0, last = rz.size();
  while (first < rz.size() && !shape.seen[first]) ++first;
  while (last > first && !shape.seen[last - 1]) --last;
  for (std::size_t i = 1; i <= first && i < rz.size(); ++i)
    shape.unseen_pole_mm += (rz[i] - rz[i - 1]).norm();
  for (std::size_t i = std::max<std::size_t>(1, last); i < rz.size(); ++i)
    shape.unseen_rim_mm += (rz[i] - rz[i - 1]).norm();
}

}  // namespace

void describe_roundness(const HeightModel& model, const geometry::Profile& base, double rim_band_mm,
                        Shape& shape) {
  const double seen_to = base.length() - rim_band_mm;
  tell_seen(base, seen_to, shape);
  for (double rho = seen_to; rho > 2 * kRingStep_mm; rho -= kRingStep_mm)
    shape.rings.push_back(ring_at(model, base, rho));
  tell_lean(shape);
  const double sigma = kSmooth_mm / shape.heights.grid.step_mm;
  const Smoothed left = smoothed(left_over(model, shape, seen_to), sigma);
  // A mean over 4 pi sigma^2 of cells that share patches as large as a third of that.
  const double noise = shape.scatter_mm / std::sqrt(3.0);
  find_bumps(left, std::max(kLeastBump_mm, kSure * noise), base, shape);
  const surface::MapGrid& grid = shape.heights.grid;
  shape.surface = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(0));
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const Vector2d uv = grid.uv(column, row);
      const double rho = std::min(uv.norm(), base.length());
      const double rest = static_cast<double>(left.value.at<float>(row, column)) *
                          std::min(1.0, 2 * static_cast<double>(left.weight.at<float>(row, column)));
      shape.surface.at<float>(row, column) =
          static_cast<float>(model.around(rho, std::atan2(uv.y(), uv.x())) + rest);
    }
  }
  shape.heights.height.forEach<float>([&](float& h, const int at[]) {
    h -= static_cast<float>(model.mean(std::min(grid.uv(at[1], at[0]).norm(), base.length())));
  });
}

}  // namespace interstice::form
