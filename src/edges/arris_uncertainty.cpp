#include "edges/arris_uncertainty.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <map>

#include "edges/photo_errors.h"

namespace interstice::edges {

using Eigen::Matrix2d;
using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

namespace {

// What sharpening, smoothing and compression of a picture do to the place of a step, half-width: edges of printed squares,
// whose true place their corners tell, lie 0.04 px RMS from the place of light in nine sets of photos, phones' among them
// (.docs/decisions/light-or-code-values.md); times the root of three.
constexpr double kProcessed_px = 0.07;

// By how much readings about each point differ more than readings of this piece do (a Birge ratio, at least
// 1): where photos contradict one another, no more is known than they say together.
std::vector<double> local_ratios(double factor, const std::vector<ArrisObservation>& observations,
                                 std::size_t points) {
  constexpr std::size_t kReach = 3;  // points: 2 mm on either side
  constexpr double kMost = 16;       // squared, of one reading: a single stray one says little
  std::vector<double> sum(points, 0), count(points, 0);
  for (const ArrisObservation& o : observations) {
    const double size = o.residual_mm / (o.sd_mm * factor);
    sum[o.point] += std::min(kMost, size * size);
    count[o.point] += 1;
  }
  double mean = 0;
  for (const double x : sum) mean += x / std::max<double>(1, static_cast<double>(observations.size()));
  std::vector<double> out(points, 1);
  for (std::size_t i = 0; i < points && mean > 0; ++i) {
    double all = mean, readings = 1;  // as much as one reading like the others
    for (std::size_t d = 0; d <= 2 * kReach; ++d) {
      all += sum[(i + points + d - kReach) % points];
      readings += count[(i + points + d - kReach) % points];
    }
    out[i] = std::sqrt(std::max(1.0, all / (readings * mean)));
  }
  return out;
}

// Of each point the mean of its readings' values by their information; 0 where there are none.
template <class Value>
std::vector<double> mean_of_readings(const std::vector<ArrisObservation>& observations, std::size_t points,
                                     const Value& value) {
  std::vector<double> sum(points, 0), weight(points, 0);
  for (const ArrisObservation& o : observations) {
    const double w = o.weight / (o.sd_mm * o.sd_mm);
    sum[o.point] += w * value(o);
    weight[o.point] += w;
  }
  for (std::size_t i = 0; i < points; ++i) sum[i] = weight[i] > 0 ? sum[i] / weight[i] : 0;
  return sum;
}

// What a reading that is off by `off` adds to the right side of the normal equations.
void add_off(const ArrisFit& fit, const ArrisObservation& o, double off, Eigen::Ref<VectorXd> right) {
  const double weighed = o.weight / (o.sd_mm * o.sd_mm) * off;
  const ArrisUnknowns::Row r = fit.unknowns.row(o);
  for (int p = 0; p < ArrisUnknowns::kTerms; ++p) right[r.index[p]] += weighed * r.value[p];
}

// What readings that are off (the columns' right sides) do to a point: across the outline, and to its height.
struct PointRows {
  Eigen::RowVectorXd across, height;
};

PointRows rows_of(const ArrisFit& fit, std::size_t point, const MatrixXd& solved) {
  PointRows out{solved.row(static_cast<Eigen::Index>(point)), Eigen::RowVectorXd::Zero(solved.cols())};
  const ArrisUnknowns::HeightRow z = fit.unknowns.height_row(point);
  for (int k = 0; k < ArrisUnknowns::kHeightTerms; ++k) out.height += z.value[k] * solved.row(z.index[k]);
  return out;
}

// Errors by place on the corner that change smoothly with the direction n of a side: sqrt(1/2) times
// (1, n.x, n.y), each by chance, so that it is as stated for every direction. Walls and contours apart.
MatrixXd by_corner(const ArrisFit& fit) {
  MatrixXd right = MatrixXd::Zero(fit.unknowns.size(), 6);
  for (const ArrisObservation& o : fit.observations) {
    const double off = std::sqrt(0.5) * o.corner_sd_mm;
    const Vector2d& n = fit.unknowns.normal(o.point);
    const Eigen::Index first = o.slope > 0 ? 3 : 0;
    add_off(fit, o, off, right.col(first));
    add_off(fit, o, off * n.x(), right.col(first + 1));
    add_off(fit, o, off * n.y(), right.col(first + 2));
  }
  return fit.inverse * right;
}

// Errors by the photos' places.
MatrixXd by_photos(const ArrisFit& fit, const geometry::PlaneFrame& frame) {
  const auto photos = static_cast<Eigen::Index>(fit.scan.photos.size());
  std::vector<Matrix2d> roots;
  for (const scan::ScannedPhoto& photo : fit.scan.photos)
    roots.push_back(Eigen::SelfAdjointEigenSolver<Matrix2d>(shift_covariance(photo, frame)).operatorSqrt());
  MatrixXd right = MatrixXd::Zero(fit.unknowns.size(), 2 * photos);
  for (const ArrisObservation& o : fit.observations) {
    const Vector2d off = roots[o.photo.value] * fit.unknowns.normal(o.point);
    const auto first = 2 * static_cast<Eigen::Index>(o.photo.value);
    for (int k = 0; k < 2; ++k) add_off(fit, o, off[k], right.col(first + k));
  }
  return fit.inverse * right;
}

// By the readings' noise: variances across and of the height, and their covariance, per unit of noise_scale.
Eigen::Vector3d by_noise(const ArrisFit& fit, std::size_t point) {
  const auto d = static_cast<Eigen::Index>(point);
  const ArrisUnknowns::HeightRow z = fit.unknowns.height_row(point);
  Eigen::Vector3d out(fit.inverse(d, d), 0, 0);
  for (int k = 0; k < ArrisUnknowns::kHeightTerms; ++k) {
    out[2] += z.value[k] * fit.inverse(d, z.index[k]);
    for (int j = 0; j < ArrisUnknowns::kHeightTerms; ++j)
      out[1] += z.value[k] * z.value[j] * fit.inverse(z.index[k], z.index[j]);
  }
  return out;
}

}  // namespace

double shared_points(const ArrisUnknowns& u, const std::vector<ArrisObservation>& observations,
                     const VectorXd& x) {
  constexpr std::size_t kLags = 8;
  const auto n = static_cast<std::size_t>(u.points());
  std::map<std::size_t, std::vector<double>> by_photo;
  for (const ArrisObservation& o : observations) {
    if (o.weight < 0.3) continue;
    auto& r = by_photo.try_emplace(o.photo.value, n, NAN).first->second;
    r[o.point] = u.residual(o, x) / o.sd_mm;
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

std::vector<double> photos_about(const std::vector<ArrisObservation>& observations, std::size_t points) {
  constexpr std::size_t kReach = 4;  // points: 3 mm on either side
  std::map<std::size_t, std::vector<double>> by_photo;
  for (const ArrisObservation& o : observations)
    by_photo.try_emplace(o.photo.value, points, 0.0).first->second[o.point] = o.weight;
  std::vector<double> out(points, 0);
  for (std::size_t i = 0; i < points; ++i) {
    for (const auto& [photo, weight] : by_photo) {
      double sum = 0;
      for (std::size_t d = 0; d <= 2 * kReach; ++d) sum += weight[(i + points + d - kReach) % points];
      out[i] += std::min(1.0, sum / (kReach + 1));
    }
  }
  return out;
}

double views_of_contour(const std::vector<ArrisObservation>& observations, std::size_t points) {
  std::vector<double> views(points, 0);
  for (const ArrisObservation& o : observations) {
    views[o.point] += o.weight;
  }
  double sum = 0, seen = 0;
  for (const double v : views) {
    sum += v;
    seen += v > 0.5 ? 1 : 0;
  }
  return seen > 0 ? std::max(1.0, sum / seen) : 1;
}

double per_freedom(const ArrisUnknowns& u, const std::vector<ArrisObservation>& observations,
                   const MatrixXd& inverse) {
  constexpr double kMost = 4;
  double readings = 0, taken = 0;
  for (const ArrisObservation& o : observations) {
    const ArrisUnknowns::Row r = u.row(o);
    double leverage = 0;
    for (int p = 0; p < ArrisUnknowns::kTerms; ++p) {
      for (int q = 0; q < ArrisUnknowns::kTerms; ++q)
        leverage += r.value[p] * r.value[q] * inverse(r.index[p], r.index[q]);
    }
    readings += o.weight;
    taken += o.weight * o.weight / (o.sd_mm * o.sd_mm) * leverage;
  }
  return readings > 0 ? std::min(kMost, readings / std::max(readings - taken, readings / kMost)) : 1;
}

std::vector<double> shared_half_widths(const std::vector<ArrisObservation>& observations,
                                       std::size_t points) {
  std::vector<double> out =
      mean_of_readings(observations, points, [](const ArrisObservation& o) { return o.light_or_code_mm; });
  const std::vector<double> pixel =
      mean_of_readings(observations, points, [](const ArrisObservation& o) { return o.pixel_mm; });
  for (std::size_t i = 0; i < points; ++i) out[i] = std::max(std::abs(out[i]), kProcessed_px * pixel[i]);
  return out;
}

PointErrors point_errors(const ArrisFit& fit, const geometry::PlaneFrame& frame,
                         const std::vector<double>& photos_shown, double noise_scale) {
  constexpr std::size_t kBridge = 2;
  const auto& observations = fit.observations;
  const auto n = static_cast<std::size_t>(fit.unknowns.points());
  PointErrors out{std::vector<double>(n), std::vector<double>(n), std::vector<double>(n)};
  std::vector<double> seen(n, 0);
  for (const ArrisObservation& o : observations) seen[o.point] += o.weight;
  const std::vector<double> slope =
      mean_of_readings(observations, n, [](const ArrisObservation& o) { return o.slope; });
  const std::vector<double> pixel =
      mean_of_readings(observations, n, [](const ArrisObservation& o) { return o.pixel_mm; });
  const MatrixXd corners = by_corner(fit), photos = by_photos(fit, frame);
  const std::vector<double> ratios = local_ratios(fit.factor, observations, n);
  for (std::size_t i = 0; i < n; ++i) {
    const Eigen::Vector3d noise = ratios[i] * ratios[i] * noise_scale * by_noise(fit, i);
    const PointRows corner = rows_of(fit, i, corners), photo = rows_of(fit, i, photos);
    // Of what photos do to an edge its neighbour across the seam shares all but this.
    const double height = photo.height.squaredNorm();
    // With no second photo that agrees it may be another line in the picture's blur: uniform over a pixel.
    const double lone = shown_alone(photos_shown[i]) * pixel[i] * pixel[i] / 12;
    const double total = std::sqrt(std::max(1e-6, noise[0]) + corner.across.squaredNorm() +
                                   slope[i] * slope[i] * height + lone);
    out.height_variance[i] = noise[1] + corner.height.squaredNorm() + height;
    out.covariance[i] = noise[2] + corner.across.dot(corner.height) + slope[i] * height;
    // The bending of an edge is known well enough to bridge a millimetre or two.
    double near = 0;
    for (std::size_t d = 0; d <= 2 * kBridge; ++d) near += seen[(i + n + d - kBridge) % n];
    out.sd_mm[i] = near > 0.8 ? total : -std::min(1.0, total);
  }
  return out;
}

}  // namespace interstice::edges
