#include "form/rough_form.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <stdexcept>

#include "core/errors.h"
#include "core/median.h"
#include "geometry/smooth_curve.h"

namespace interstice::form {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kOffBench_mm = 3;  // nearer to the bench, points may be the bench's
constexpr std::size_t kFewPoints = 60;
constexpr std::size_t kSample = 3000;  // enough for the search of the axis
constexpr double kOn_mm = 2;           // matched points are good to a millimetre or so
constexpr const char* kNotFound =
    "no form was found in the photos: a plain surface gives nothing to compare; draw pencil lines all over "
    "it "
    "(a net of about 20 mm), lay the cards round it, and photograph it sharply from all round and from above";

using Meridian = std::vector<Vector2d>;  // (r, z)

// How crowded the points are as (r, z) about an axis: pairs within a cell.
double crowding(const std::vector<Vector3d>& points, const Vector2d& axis, double cell, double reach) {
  const int columns = static_cast<int>(2 * reach / cell) + 1, rows = static_cast<int>(4 * reach / cell) + 1;
  std::vector<int> count(static_cast<std::size_t>(columns) * static_cast<std::size_t>(rows), 0);
  double pairs = 0;
  for (const Vector3d& p : points) {
    const int c = static_cast<int>((p.head<2>() - axis).norm() / cell), r = static_cast<int>(p.z() / cell);
    if (c >= columns || r >= rows) continue;
    pairs += 2 * count[static_cast<std::size_t>(r) * static_cast<std::size_t>(columns) +
                       static_cast<std::size_t>(c)]++;
  }
  return pairs;
}

Vector2d coarse_axis(const std::vector<Vector3d>& all, const Vector2d& near, double reach) {
  std::vector<Vector3d> points = all;
  if (points.size() > kSample) {
    points.clear();
    for (std::size_t i = 0; i < kSample; ++i) points.push_back(all[i * all.size() / kSample]);
  }
  Vector2d best = near;
  double span = reach / 2;
  for (double step = 4; step > 0.4; step /= 2) {
    const Vector2d centre = best;
    const int n = static_cast<int>(std::ceil(span / step));
    double most = -1;
    for (int i = -n; i <= n; ++i) {
      for (int j = -n; j <= n; ++j) {
        const Vector2d axis = centre + step * Vector2d(i, j);
        const double score = crowding(points, axis, step, reach);
        if (score > most) most = score, best = axis;
      }
    }
    span = 2 * step;
  }
  return best;
}

// The meridian as the distance from an eye on the axis over the angle from the axis.
struct Chart {
  double eye = 0;  // z
  double angle(const Vector2d& rz) const { return std::atan2(rz.x(), rz.y() - eye); }
  double distance(const Vector2d& rz) const { return std::hypot(rz.x(), rz.y() - eye); }
  Vector2d point(double angle, double distance) const {
    return {distance * std::sin(angle), eye + distance * std::cos(angle)};
  }
};

struct ChartFit {
  Meridian meridian;
  double explained = 0;  // share of the points within kOn_mm
};

// Distances of the points from the curve along its normal, nearly: over the chart's slope.
double off_curve(const geometry::SmoothCurve& curve, double angle, double distance) {
  constexpr double kStep = 0.01;
  const double d = curve.at(angle), slope = (curve.at(angle + kStep) - curve.at(angle - kStep)) / (2 * kStep);
  return (distance - d) * d / std::hypot(d, slope);
}

// Middle of the places along `distance` where points crowd most, a bin of angles each: where to start from.
std::vector<Vector2d> crowded_places(const std::vector<Vector2d>& seen, double last) {
  constexpr std::size_t kBins = 40, kFew = 4;
  std::vector<std::vector<double>> bins(kBins);
  for (const Vector2d& s : seen) {
    const auto bin = static_cast<std::size_t>(s.x() / last * static_cast<double>(kBins));
    if (bin < kBins) bins[bin].push_back(s.y());
  }
  std::vector<Vector2d> out;
  for (std::size_t i = 0; i < kBins; ++i) {
    if (bins[i].size() < kFew) continue;
    out.emplace_back(last * (static_cast<double>(i) + 0.5) / static_cast<double>(kBins),
                     core::median(bins[i]));
  }
  return out;
}

// From the pole down to the bench; nothing where the curve never comes down.
Meridian down_to_bench(const geometry::SmoothCurve& curve, const Chart& chart, double last,
                       double lowest_angle) {
  Meridian out;
  const double step = 2.5 / std::max(1.0, curve.at(last / 2));  // about 2.5 mm
  for (double angle = 0; angle < last; angle += step) {
    const Vector2d p = chart.point(angle, curve.at(angle));
    if (!out.empty() && p.x() < out.back().x() * 0.2) return {};
    // Below the lowest points the curve is guessed: straight on instead.
    if (angle > lowest_angle && out.size() > 4) break;
    if (p.y() <= 0) break;
    out.push_back(p);
  }
  if (out.size() < 6) return {};
  out.front().x() = 0;
  const std::size_t back = std::min<std::size_t>(4, out.size() - 2);
  const Vector2d slope = (out.back() - out[out.size() - 1 - back]).normalized();
  constexpr double kSlopes = 0.02;
  if (slope.y() > -kSlopes) return {};
  const Vector2d rim = out.back() + slope * (out.back().y() / -slope.y());
  if (!(rim.x() > 1)) return {};
  while (out.back().y() < 1 && out.size() > 4) out.pop_back();
  out.emplace_back(rim.x(), 0.0);
  return out;
}

ChartFit fit_chart(const std::vector<Vector2d>& points, double eye) {
  const Chart chart{eye};
  std::vector<Vector2d> seen;  // (angle, distance)
  double last = 0;
  for (const Vector2d& p : points) seen.emplace_back(chart.angle(p), chart.distance(p));
  std::vector<double> angles;
  for (const Vector2d& s : seen) angles.push_back(s.x());
  std::sort(angles.begin(), angles.end());
  last = angles[angles.size() - 1 - angles.size() / 200];
  const double lowest_angle = last;
  last = std::min(1.15 * last + 0.1, std::numbers::pi - 0.05);
  std::vector<double> distances;
  for (const Vector2d& s : seen) distances.push_back(s.y());
  const double size = core::median(distances);
  // A circle about the eye has no second derivative; forms turned by hand leave it by bends of some tens of
  // millimetres' radius.
  const double bend = size * size / 30;
  geometry::SmoothCurve curve(-last, last, 6 / size, bend);
  const auto add = [&](double angle, double distance, double weight) {
    curve.add(angle, distance, weight), curve.add(-angle, distance, weight);
  };
  for (const Vector2d& s : crowded_places(seen, last)) add(s.x(), s.y(), 1.0 / 9);
  curve.solve();
  for (const double scale : {4.0, 3.0, 2.0, 1.0, 0.7, 0.7}) {
    std::vector<double> off;
    for (const Vector2d& s : seen) off.push_back(off_curve(curve, s.x(), s.y()));
    curve.clear_data();
    for (std::size_t i = 0; i < seen.size(); ++i) {
      const double r = off[i] / scale;
      const double w = 1 / (1 + r * r);
      add(seen[i].x(), seen[i].y(), w * w / (scale * scale));  // redescending: strays count nothing
    }
    curve.solve();
  }
  ChartFit fit;
  std::size_t on = 0;
  for (const Vector2d& s : seen) on += std::abs(off_curve(curve, s.x(), s.y())) < kOn_mm;
  fit.explained = static_cast<double>(on) / static_cast<double>(seen.size());
  fit.meridian = down_to_bench(curve, chart, last, lowest_angle);
  return fit;
}

std::vector<Vector2d> about(const std::vector<Vector3d>& points, const Vector2d& axis) {
  std::vector<Vector2d> out;
  for (const Vector3d& p : points) out.emplace_back((p.head<2>() - axis).norm(), p.z());
  return out;
}

// The best of several eyes: a low one suits platters, one half way up suits vases.
std::optional<geometry::Profile> fit_meridian(const std::vector<Vector2d>& points) {
  std::vector<double> r, z;
  for (const Vector2d& p : points) r.push_back(p.x()), z.push_back(p.y());
  std::sort(r.begin(), r.end()), std::sort(z.begin(), z.end());
  const double wide = r[r.size() * 9 / 10], high = z[z.size() * 9 / 10];
  ChartFit best;
  for (const double eye : {-1.5 * wide, -0.6 * wide, 0.0, 0.25 * high, 0.5 * high, 0.75 * high}) {
    ChartFit fit = fit_chart(points, eye);
    if (!fit.meridian.empty() && fit.explained > best.explained) best = std::move(fit);
  }
  if (best.meridian.empty()) return std::nullopt;
  try {
    return geometry::Profile(std::move(best.meridian));
  } catch (const std::invalid_argument&) {
    return std::nullopt;
  }
}

// The axis moved so that what stands out on one side and back on the other is evened out.
Vector2d moved_axis(const std::vector<Vector3d>& points, const geometry::Profile& profile, Vector2d axis) {
  for (int round = 0; round < 4; ++round) {
    Eigen::Matrix2d a = 1e-9 * Eigen::Matrix2d::Identity();
    Vector2d b = Vector2d::Zero();
    for (const Vector3d& p : points) {
      const Vector3d q(p.x() - axis.x(), p.y() - axis.y(), p.z());
      const geometry::MapPoint at = profile.locate(q);
      const double rho = at.uv.norm(), w = std::pow(1 / (1 + std::pow(at.height / kOn_mm, 2)), 2);
      if (rho < 1 || rho > profile.length()) continue;
      const Vector2d row = profile.normal(at.uv).head<2>();
      a += w * row * row.transpose();
      b += w * at.height * row;
    }
    axis += a.ldlt().solve(b);
  }
  return axis;
}

// Points on the form, in how many of twelve sectors round it they lie.
std::size_t points_on(const std::vector<Vector3d>& points, const RoughForm& form, std::size_t& sectors) {
  std::vector<int> in(12, 0);
  std::size_t n = 0;
  for (const Vector3d& p : points) {
    const Vector3d q(p.x() - form.axis_mm.x(), p.y() - form.axis_mm.y(), p.z());
    if (std::abs(form.profile.locate(q).height) > kOn_mm) continue;
    ++n;
    const double turn = (std::atan2(q.y(), q.x()) + std::numbers::pi) / (2 * std::numbers::pi);
    ++in[std::min<std::size_t>(11, static_cast<std::size_t>(12 * turn))];
  }
  sectors = static_cast<std::size_t>(std::count_if(in.begin(), in.end(), [](int k) { return k >= 2; }));
  return n;
}

}  // namespace

RoughForm find_rough_form(const std::vector<Vector3d>& points, const Vector2d& near, double reach_mm) {
  std::vector<Vector3d> high;
  for (const Vector3d& p : points) {
    if (p.z() > kOffBench_mm && p.z() < 4 * reach_mm && (p.head<2>() - near).norm() < reach_mm)
      high.push_back(p);
  }
  if (high.size() < kFewPoints) throw core::MeasureError(kNotFound);
  RoughForm form;
  form.axis_mm = coarse_axis(high, near, reach_mm);
  for (int round = 0; round < 3; ++round) {
    const std::optional<geometry::Profile> profile = fit_meridian(about(high, form.axis_mm));
    if (!profile) throw core::MeasureError(kNotFound);
    form.profile = *profile;
    form.axis_mm = moved_axis(high, form.profile, form.axis_mm);
  }
  std::size_t sectors = 0;
  form.points = points_on(high, form, sectors);
  constexpr std::size_t kMostSectors = 9;  // three quarters of the way round
  if (form.points < kFewPoints || sectors < kMostSectors) throw core::MeasureError(kNotFound);
  return form;
}

}  // namespace interstice::form
