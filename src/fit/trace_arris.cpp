#include "fit/trace_arris.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

namespace interstice {

using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

namespace {

constexpr double kLeastCosine = 0.3;
// Slopes of views with the wall hidden that show the contour at the widest outline: steeper ones see the
// broken corner's upper rim instead (a corner broken at 45 degrees: beyond slope -1), flatter ones see edge
// and wall in one.
constexpr double kHiddenFrom = -1.0, kHiddenTo = -0.12;
constexpr double kWallFrom = 0.25, kWallTo = 1.3;
constexpr double kWallViewFactor = 3.0;  // noise of views onto the wall against the others
constexpr double kBlur_px = 0.8;         // of the derivative filter: about a phone picture's own blur
constexpr double kAcross_mm = 0.75;      // the spacing of points: each reads its own stretch of edge
constexpr double kLeastContrast = 5.0;   // grey levels, a few times the noise of such a mean
constexpr double kEdgeSd_px = 0.12;      // at a contrast of 30 grey levels; rescaled by the residuals
constexpr double kEdgeFloor_mm = 0.02;   // roughness of a sawn and broken edge over one point's stretch
constexpr double kBendSd_mm = 0.08;      // second difference from point to point
// How far the widest outline lies below the face: arrises are broken by some tenths of a millimetre (common
// practice, no source).
constexpr double kBroken_mm = 0.25, kBrokenSd_mm = 0.25;
constexpr double kReadSd = 3.0;  // robust cut, standard deviations

struct Edge {
  double offset_mm, contrast;
};

// Strongest brightness step of the wanted sign within +-window; none when too weak.
bool find_edge(const Picture& picture, const OutlineView& view, double window_mm, int polarity, Edge& edge,
               std::vector<float>& profile, std::vector<double>& slope) {
  const double step = 0.25 / view.px_per_mm;
  const int blur = 10;  // filter reach in steps: three sigmas of 0.8 px
  const int half = static_cast<int>(std::ceil(window_mm / step));
  profile.resize(static_cast<std::size_t>(2 * (half + blur) + 1));
  read_profile(picture, view, -(half + blur) * step, step, kAcross_mm, profile);
  static const std::vector<double> filter = [] {
    std::vector<double> f;
    const double sigma = kBlur_px / 0.25;
    for (int k = -10; k <= 10; ++k) f.push_back(k * std::exp(-0.5 * k * k / (sigma * sigma)));
    double norm = 0;  // unit response to a unit step
    for (int k = 1; k <= 10; ++k) norm += f[static_cast<std::size_t>(k + 10)];
    for (double& x : f) x /= norm;
    return f;
  }();
  slope.assign(static_cast<std::size_t>(2 * half + 1), 0);
  for (int k = 0; k <= 2 * half; ++k) {
    double sum = 0;
    for (int j = 0; j <= 2 * blur; ++j) {
      sum +=
          filter[static_cast<std::size_t>(j)] * static_cast<double>(profile[static_cast<std::size_t>(k + j)]);
    }
    if (!std::isfinite(sum)) return false;
    slope[static_cast<std::size_t>(k)] = polarity * sum;
  }
  int best = -1;
  double best_score = 0;
  for (int k = 1; k < 2 * half; ++k) {
    const auto i = static_cast<std::size_t>(k);
    if (slope[i] < kLeastContrast || slope[i] < slope[i - 1] || slope[i] < slope[i + 1]) continue;
    const double x = (k - half) * step / window_mm;
    const double score = slope[i] * (1 - 0.5 * x * x);
    if (score > best_score) {
      best_score = score;
      best = k;
    }
  }
  if (best < 0) return false;
  const auto i = static_cast<std::size_t>(best);
  const double curve = slope[i - 1] - 2 * slope[i] + slope[i + 1];
  const double shift = curve < 0 ? 0.5 * (slope[i - 1] - slope[i + 1]) / curve : 0;
  edge = {(best - half + shift) * step, slope[i]};
  return true;
}

std::vector<ArrisObservation> observe(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                                      const PlaneFrame& frame, const Polygon& outline,
                                      const std::vector<Vector2d>& normals, const std::vector<int>& polarity,
                                      double window_mm) {
  std::vector<ArrisObservation> out;
  std::vector<float> profile;
  std::vector<double> slope;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    for (const OutlineView& view :
         views_of_point(scan, pictures, frame, outline[i], normals[i], kLeastCosine)) {
      const bool hidden = view.slope >= kHiddenFrom && view.slope <= kHiddenTo;
      const bool wall = view.slope >= kWallFrom && view.slope <= kWallTo;
      if (!hidden && !wall) continue;
      const double window = std::max(window_mm, 2.5 / view.px_per_mm);
      Edge edge{};
      if (!find_edge(pictures[view.photo], view, window, polarity[i], edge, profile, slope)) continue;
      const double noise = kEdgeSd_px / view.px_per_mm * std::max(1.0, 30.0 / edge.contrast);
      const double sd = std::hypot(noise, kEdgeFloor_mm) * (hidden ? 1.0 : kWallViewFactor);
      out.push_back({i, view.photo, view.slope, edge.offset_mm, edge.contrast, sd, 1.0});
    }
  }
  return out;
}

struct Solution {
  VectorXd x;  // d_0 .. d_n-1, h, a, b
  MatrixXd covariance;
  double factor = 1;  // robust size of residuals in units of their sd
};

// `expected`: height and tilts of the arris plane over the present one, as known beforehand.
Solution solve(const Polygon& outline, std::vector<ArrisObservation>& observations, const Vector3d& expected,
               const PlanePrior& plane) {
  const auto n = static_cast<Eigen::Index>(outline.size());
  Solution s;
  s.x = VectorXd::Zero(n + 3);
  MatrixXd prior = MatrixXd::Zero(n + 3, n + 3);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Eigen::Index k[3] = {(i + n - 1) % n, i, (i + 1) % n};
    const double c[3] = {1, -2, 1};
    for (int p = 0; p < 3; ++p) {
      for (int q = 0; q < 3; ++q) prior(k[p], k[q]) += c[p] * c[q] / (kBendSd_mm * kBendSd_mm);
    }
    prior(i, i) += 1.0;  // a millimetre: keeps unseen points where they started
  }
  const Vector3d weight(1 / (plane.height_sd_mm * plane.height_sd_mm + kBrokenSd_mm * kBrokenSd_mm),
                        1 / (plane.tilt_sd * plane.tilt_sd), 1 / (plane.tilt_sd * plane.tilt_sd));
  for (int k = 0; k < 3; ++k) prior(n + k, n + k) += weight[k];
  MatrixXd a;
  for (int round = 0; round < 8; ++round) {
    a = prior;
    VectorXd b = VectorXd::Zero(n + 3);
    b.tail<3>() = weight.cwiseProduct(expected);
    for (const ArrisObservation& o : observations) {
      const auto i = static_cast<Eigen::Index>(o.point);
      const Vector2d& p = outline[o.point];
      const double w = o.weight / (o.sd_mm * o.sd_mm);
      const Eigen::Index k[4] = {i, n, n + 1, n + 2};
      const double c[4] = {1, -o.slope, -o.slope * p.x(), -o.slope * p.y()};
      for (int r = 0; r < 4; ++r) {
        b[k[r]] += w * c[r] * o.offset_mm;
        for (int q = 0; q < 4; ++q) a(k[r], k[q]) += w * c[r] * c[q];
      }
    }
    s.x = a.ldlt().solve(b);
    std::vector<double> sizes;
    for (ArrisObservation& o : observations) {
      const Vector2d& p = outline[o.point];
      const double z = s.x[n] + s.x[n + 1] * p.x() + s.x[n + 2] * p.y();
      const double r =
          std::abs(o.offset_mm - s.x[static_cast<Eigen::Index>(o.point)] + o.slope * z) / o.sd_mm;
      sizes.push_back(r);
      o.weight = r;  // for now the size itself
    }
    if (sizes.empty()) break;
    const auto mid = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), mid, sizes.end());
    s.factor = std::max(0.3, *mid / 0.6745);
    for (ArrisObservation& o : observations) {
      const double u = o.weight / (kReadSd * s.factor);
      o.weight = 1 / std::pow(1 + u * u, 2);
    }
  }
  s.covariance = a.ldlt().solve(MatrixXd::Identity(n + 3, n + 3)) * (s.factor * s.factor);
  return s;
}

// How many neighbouring points say the same: the integrated autocorrelation of residuals along the outline,
// view by view (1 if they are independent). Light, grain and a sharpened picture err over several points
// alike, so that many points tell less than their number.
double shared_points(const Polygon& outline, const std::vector<ArrisObservation>& observations,
                     const VectorXd& x) {
  constexpr std::size_t kLags = 8;
  const std::size_t n = outline.size();
  const auto m = static_cast<Eigen::Index>(n);
  std::map<std::size_t, std::vector<double>> by_photo;
  for (const ArrisObservation& o : observations) {
    if (o.weight < 0.3 || o.slope > 0) continue;
    auto& r = by_photo.try_emplace(o.photo.value, n, NAN).first->second;
    const Vector2d& p = outline[o.point];
    const double z = x[m] + x[m + 1] * p.x() + x[m + 2] * p.y();
    r[o.point] = (o.offset_mm - x[static_cast<Eigen::Index>(o.point)] + o.slope * z) / o.sd_mm;
  }
  double sum[kLags + 1] = {};
  double count[kLags + 1] = {};
  for (const auto& [photo, r] : by_photo) {
    for (std::size_t i = 0; i < n; ++i) {
      for (std::size_t k = 0; k <= kLags && std::isfinite(r[i]); ++k) {
        const double other = r[(i + k) % n];
        if (!std::isfinite(other)) continue;
        sum[k] += r[i] * other;
        count[k] += 1;
      }
    }
  }
  double tau = 1;
  for (std::size_t k = 1; k <= kLags && count[0] > 0 && sum[0] > 0; ++k) {
    const double rho = count[k] > 0 ? (sum[k] / count[k]) / (sum[0] / count[0]) : 0;
    if (rho < 0.05) break;
    tau += 2 * rho;
  }
  return tau;
}

Polygon resampled_to(const Polygon& polygon, std::size_t count) {
  return resampled(polygon, perimeter(polygon) / static_cast<double>(count) * (1 + 1e-9));
}

}  // namespace

TracedArris trace_arris(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                        const PlaneFrame& start, const Polygon& outline, const std::vector<int>& polarity,
                        const PlanePrior& prior) {
  TracedArris t;
  t.frame = start;
  t.outline = outline;
  const std::size_t n = outline.size();
  Solution s;
  for (const double window : {0.9, 0.6, 0.45, 0.35}) {
    const std::vector<Vector2d> normals = outward_normals(t.outline);
    t.observations = observe(scan, pictures, t.frame, t.outline, normals, polarity, window);
    // The start plane, seen from the present one.
    const Vector3d expected(t.frame.height(start.origin - kBroken_mm * start.normal) +
                                (t.frame.drop(start.origin).x() * start.normal.dot(t.frame.ex) +
                                 t.frame.drop(start.origin).y() * start.normal.dot(t.frame.ey)),
                            -start.normal.dot(t.frame.ex), -start.normal.dot(t.frame.ey));
    s = solve(t.outline, t.observations, expected, prior);
    s.covariance *= shared_points(t.outline, t.observations, s.x);
    const auto m = static_cast<Eigen::Index>(n);
    t.sd_mm.assign(n, -1);
    std::vector<double> seen(n, 0);
    for (const ArrisObservation& o : t.observations) seen[o.point] += o.weight;
    std::vector<Vector3d> lifted;
    for (std::size_t i = 0; i < n; ++i) {
      const auto k = static_cast<Eigen::Index>(i);
      const double sd = std::sqrt(std::max(1e-6, s.covariance(k, k)));
      t.sd_mm[i] = seen[i] > 0.8 ? sd : -std::min(1.0, sd);
      t.outline[i] += s.x[k] * normals[i];
    }
    t.residual_mm = s.factor;
    t.plane_sd_mm = std::sqrt(std::max(0.0, s.covariance(m, m)));
    // The plane moves; the outline keeps its coordinates in it.
    const Vector3d normal = t.frame.normal - s.x[m + 1] * t.frame.ex - s.x[m + 2] * t.frame.ey;
    t.frame = make_plane_frame(t.frame.origin + s.x[m] * t.frame.normal, normal, t.frame.ex);
    if (window > 0.35) t.outline = resampled_to(t.outline, n);
  }
  std::vector<double> residuals;
  for (const ArrisObservation& o : t.observations) {
    if (o.slope < 0) {
      const Vector2d& p = t.outline[o.point];
      const auto m = static_cast<Eigen::Index>(n);
      const double z = s.x[m] + s.x[m + 1] * p.x() + s.x[m + 2] * p.y();
      residuals.push_back(std::abs(o.offset_mm - s.x[static_cast<Eigen::Index>(o.point)] + o.slope * z));
    }
  }
  if (!residuals.empty()) {
    const auto mid = residuals.begin() + static_cast<std::ptrdiff_t>(residuals.size() / 2);
    std::nth_element(residuals.begin(), mid, residuals.end());
    t.residual_mm = *mid / 0.6745;
  }
  return t;
}

}  // namespace interstice
