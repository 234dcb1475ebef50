#include "fit/trace_arris.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <map>

#include "core/median.h"

namespace interstice {

using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

namespace {

constexpr double kBendSd_mm = 0.08;  // second difference from point to point
constexpr double kReadSd = 3.0;      // robust cut, standard deviations
// What sharpening, smoothing and compression of a picture do to the place of a step, at most: where the two
// sides are treated differently (common practice, no source).
constexpr double kProcessed_px = 0.1;
// How much darker than the face a corner at 45 degrees is, as a share of the face's light. Light from all of
// the half-space above the face: 1 - (1 + cos 45 deg) / 2 = 0.15. One lamp makes it brighter on its own side
// and darker on the other.
constexpr double kShade = 0.15, kShadeSd = 0.1;

// The unknowns: d of every point; h, a, b of the plane z = h + a x + b y; the corner's darkness k on sides of
// the outward normal n (k = k0 + k1 n.x + k2 n.y, exact for light of any distribution on a matt corner none
// of which is hidden).
class Unknowns {
 public:
  Unknowns(const Polygon& outline, const std::vector<Vector2d>& normals, const BrokenCorner& corner)
      : outline_(outline), normals_(normals), corner_(corner) {}
  Eigen::Index points() const { return static_cast<Eigen::Index>(outline_.size()); }
  Eigen::Index plane() const { return points(); }
  Eigen::Index size() const { return points() + 7; }
  Eigen::Index shade() const { return points() + 3; }
  Eigen::Index wider() const { return points() + 6; }

  // Non-zero derivatives of an observed offset: index and value.
  static constexpr int kTerms = 8;
  struct Row {
    Eigen::Index index[kTerms];
    double value[kTerms];
  };
  Row row(const ArrisObservation& o) const {
    const Vector2d& p = outline_[o.point];
    const Vector2d& n = normals_[o.point];
    return {{static_cast<Eigen::Index>(o.point), plane(), plane() + 1, plane() + 2, shade(), shade() + 1,
             shade() + 2, wider()},
            {1, -o.slope, -o.slope * p.x(), -o.slope * p.y(), o.shade_mm, o.shade_mm * n.x(),
             o.shade_mm * n.y(), rim_is_contour(corner_, o.slope) ? -1.0 : 0.0}};
  }
  double residual(const ArrisObservation& o, const VectorXd& x) const {
    const Row r = row(o);
    double sum = o.offset_mm;
    for (int k = 0; k < kTerms; ++k) sum -= r.value[k] * x[r.index[k]];
    return sum;
  }

 private:
  const Polygon& outline_;
  const std::vector<Vector2d>& normals_;
  const BrokenCorner& corner_;
};

struct Solution {
  VectorXd x;
  MatrixXd normal;    // matrix of the last round's normal equations
  double factor = 1;  // robust size of residuals in units of their sd
};

// What is known of the plane beforehand: its height and tilts over the present one, and how many readings of
// the edges err alike, so that they tell no more of the plane than one.
struct PlanePrior {
  Vector3d expected;
  double alike = 1;
};

// What is known beforehand as normal equations.
void add_prior(const Unknowns& u, const PlanePrior& plane, const ArrisPrior& known, MatrixXd& a,
               VectorXd& b) {
  const Eigen::Index n = u.points();
  for (Eigen::Index i = 0; i < n; ++i) {
    const Eigen::Index k[3] = {(i + n - 1) % n, i, (i + 1) % n};
    const double c[3] = {1, -2, 1};
    for (int p = 0; p < 3; ++p) {
      for (int q = 0; q < 3; ++q) a(k[p], k[q]) += c[p] * c[q] / (kBendSd_mm * kBendSd_mm);
    }
    a(i, i) += 1.0;  // a millimetre: keeps unseen points where they started
  }
  const double height =
      known.height_sd_mm * known.height_sd_mm + known.corner.height_sd_mm * known.corner.height_sd_mm;
  const double tilt = known.tilt_sd * known.tilt_sd;
  const Vector3d weight = plane.alike * Vector3d(1 / height, 1 / tilt, 1 / tilt);
  for (int k = 0; k < 3; ++k) {
    a(u.plane() + k, u.plane() + k) += weight[k];
    b[u.plane() + k] += weight[k] * plane.expected[k];
    a(u.shade() + k, u.shade() + k) += 1 / (kShadeSd * kShadeSd);
  }
  b[u.shade()] += kShade / (kShadeSd * kShadeSd);
  a(u.wider(), u.wider()) += plane.alike / (known.corner.width_sd_mm * known.corner.width_sd_mm);
}

// Sizes of the residuals become weights; their robust scale is returned, from the views that see a contour.
double reweight(const Unknowns& u, const VectorXd& x, std::vector<ArrisObservation>& observations) {
  std::vector<double> contour, all;
  for (ArrisObservation& o : observations) {
    o.weight = std::abs(u.residual(o, x)) / o.sd_mm;  // for now the size itself
    all.push_back(o.weight);
    if (o.slope < 0) contour.push_back(o.weight);
  }
  std::vector<double>& sizes = 4 * contour.size() > all.size() ? contour : all;
  const double factor = std::max(0.3, robust_sd(std::move(sizes)));
  for (ArrisObservation& o : observations) {
    const double size = o.weight / (kReadSd * factor);
    o.weight = 1 / std::pow(1 + size * size, 2);
  }
  return factor;
}

Solution solve(const Unknowns& u, std::vector<ArrisObservation>& observations, const PlanePrior& plane,
               const ArrisPrior& known) {
  Solution s;
  MatrixXd prior = MatrixXd::Zero(u.size(), u.size()), a;
  VectorXd prior_b = VectorXd::Zero(u.size());
  add_prior(u, plane, known, prior, prior_b);
  s.x = VectorXd::Zero(u.size());
  for (int round = 0; round < 8; ++round) {
    a = prior;
    VectorXd b = prior_b;
    for (const ArrisObservation& o : observations) {
      const Unknowns::Row r = u.row(o);
      const double w = o.weight / (o.sd_mm * o.sd_mm);
      for (int p = 0; p < Unknowns::kTerms; ++p) {
        b[r.index[p]] += w * r.value[p] * o.offset_mm;
        for (int q = 0; q < Unknowns::kTerms; ++q) a(r.index[p], r.index[q]) += w * r.value[p] * r.value[q];
      }
    }
    s.x = a.ldlt().solve(b);
    if (observations.empty()) break;
    s.factor = reweight(u, s.x, observations);
  }
  s.normal = std::move(a);
  return s;
}

// How many neighbouring points say the same: the integrated autocorrelation of residuals along the outline,
// view by view (1 if they are independent). Light, grain and a sharpened picture err over several points
// alike, so that many points tell less than their number.
double shared_points(const Unknowns& u, const std::vector<ArrisObservation>& observations,
                     const VectorXd& x) {
  constexpr std::size_t kLags = 8;
  const auto n = static_cast<std::size_t>(u.points());
  std::map<std::size_t, std::vector<double>> by_photo;
  for (const ArrisObservation& o : observations) {
    if (o.weight < 0.3 || o.slope > 0) continue;
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

// Contour readings over those that are left when what the unknowns take is counted: where one or two photos
// show a point, the outline follows their errors, and residuals are smaller than errors.
double per_freedom(const Unknowns& u, const std::vector<ArrisObservation>& observations,
                   const MatrixXd& inverse_normal) {
  constexpr double kMost = 4;
  double readings = 0, taken = 0;
  for (const ArrisObservation& o : observations) {
    if (o.slope > 0) continue;
    const Unknowns::Row r = u.row(o);
    double leverage = 0;
    for (int p = 0; p < Unknowns::kTerms; ++p) {
      for (int q = 0; q < Unknowns::kTerms; ++q)
        leverage += r.value[p] * r.value[q] * inverse_normal(r.index[p], r.index[q]);
    }
    readings += o.weight;
    taken += o.weight * o.weight / (o.sd_mm * o.sd_mm) * leverage;
  }
  return readings > 0 ? std::min(kMost, readings / std::max(readings - taken, readings / kMost)) : 1;
}

// How many photos read a point's contour, on average: light and corner are the same for all of them.
double views_of_contour(const std::vector<ArrisObservation>& observations, std::size_t points) {
  std::vector<double> views(points, 0);
  for (const ArrisObservation& o : observations) {
    if (o.slope < 0) views[o.point] += o.weight;
  }
  double sum = 0, seen = 0;
  for (const double v : views) {
    sum += v;
    seen += v > 0.5 ? 1 : 0;
  }
  return seen > 0 ? std::max(1.0, sum / seen) : 1;
}

Polygon resampled_to(const Polygon& polygon, std::size_t count) {
  return resampled(polygon, perimeter(polygon) / static_cast<double>(count) * (1 + 1e-9));
}

// Arris plane as known beforehand over the present frame: height and tilts.
Vector3d expected_plane(const PlaneFrame& frame, const ArrisPrior& known) {
  const PlaneFrame& face = known.face;
  const Vector3d below = face.origin - known.corner.height_mm * face.normal;
  const double a = -face.normal.dot(frame.ex), b = -face.normal.dot(frame.ey);
  const Vector2d at = frame.drop(below);
  return {frame.height(below) - a * at.x() - b * at.y(), a, b};
}

double contour_residual(const std::vector<ArrisObservation>& observations, double if_none) {
  std::vector<double> residuals;
  for (const ArrisObservation& o : observations) {
    if (o.slope < 0) residuals.push_back(std::abs(o.residual_mm));
  }
  return residuals.empty() ? if_none : robust_sd(std::move(residuals));
}

// By how much readings about each point differ more than readings of this piece do (a Birge ratio, at least
// 1): where photos contradict one another, no more is known than they say together.
std::vector<double> local_ratios(const Solution& s, const std::vector<ArrisObservation>& observations,
                                 std::size_t points) {
  constexpr std::size_t kReach = 3;  // points: 2 mm on either side
  constexpr double kMost = 16;       // squared, of one reading: a single stray one says little
  std::vector<double> sum(points, 0), count(points, 0);
  for (const ArrisObservation& o : observations) {
    const double size = o.residual_mm / (o.sd_mm * s.factor);
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

// Half-widths of what all edges share (fit/trace_arris.h).
std::vector<double> shared_errors(const std::vector<ArrisObservation>& observations, std::size_t points) {
  std::vector<double> out =
      mean_of_readings(observations, points, [](const ArrisObservation& o) { return o.light_or_code_mm; });
  const std::vector<double> pixel =
      mean_of_readings(observations, points, [](const ArrisObservation& o) { return o.pixel_mm; });
  for (std::size_t i = 0; i < points; ++i) out[i] = std::max(std::abs(out[i]), kProcessed_px * pixel[i]);
  return out;
}

// Standard uncertainties of the points; negative where no photo shows one.
std::vector<double> point_sds(const Solution& s, const MatrixXd& covariance,
                              const std::vector<ArrisObservation>& observations, std::size_t n,
                              const ArrisPrior& known) {
  constexpr std::size_t kBridge = 2;
  std::vector<double> out(n), seen(n, 0);
  for (const ArrisObservation& o : observations) seen[o.point] += o.weight;
  const std::vector<double> corner = mean_of_readings(observations, n, [&](const ArrisObservation& o) {
    return on_corner_mm(known.corner, o.slope, o.looks_up);
  });
  const std::vector<double> ratios = local_ratios(s, observations, n);
  for (std::size_t i = 0; i < n; ++i) {
    const auto k = static_cast<Eigen::Index>(i);
    const double sd = ratios[i] * std::sqrt(std::max(1e-6, covariance(k, k)));
    // The same place on the corner over a whole side: no number of points averages that down.
    const double total = std::hypot(sd, corner[i]);
    // The bending of an edge is known well enough to bridge a millimetre or two.
    double near = 0;
    for (std::size_t d = 0; d <= 2 * kBridge; ++d) near += seen[(i + n + d - kBridge) % n];
    out[i] = near > 0.8 ? total : -std::min(1.0, total);
  }
  return out;
}

}  // namespace

TracedArris trace_arris(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                        const PlaneFrame& frame, const Polygon& outline, const ArrisPrior& known,
                        const std::vector<double>& windows_mm, const Surroundings& around) {
  TracedArris t;
  t.frame = frame;
  t.outline = outline;
  const std::size_t n = outline.size();
  for (std::size_t round = 0; round < windows_mm.size(); ++round) {
    const std::vector<Vector2d> normals = outward_normals(t.outline);
    t.observations =
        observe_edges(scan, pictures, t.frame, t.outline, normals, windows_mm[round], known.corner, around);
    const Unknowns u(t.outline, normals, known.corner);
    PlanePrior plane{expected_plane(t.frame, known)};
    Solution s = solve(u, t.observations, plane, known);
    const double shared = shared_points(u, t.observations, s.x);
    plane.alike = shared * views_of_contour(t.observations, n);
    s = solve(u, t.observations, plane, known);
    MatrixXd covariance = s.normal.ldlt().solve(MatrixXd::Identity(u.size(), u.size()));
    t.noise_scale = s.factor * s.factor * shared * per_freedom(u, t.observations, covariance);
    covariance *= t.noise_scale;
    for (ArrisObservation& o : t.observations) o.residual_mm = u.residual(o, s.x);
    t.residual_mm = contour_residual(t.observations, s.factor);
    t.sd_mm = point_sds(s, covariance, t.observations, n, known);
    t.shared_error_mm = shared_errors(t.observations, n);
    const Eigen::Index m = u.plane();
    t.wider_mm = s.x[u.wider()];
    t.wider_sd_mm = std::sqrt(std::max(0.0, covariance(u.wider(), u.wider())));
    t.plane_sd_mm = std::sqrt(std::max(0.0, covariance(m, m)));
    for (std::size_t i = 0; i < n; ++i) t.outline[i] += s.x[static_cast<Eigen::Index>(i)] * normals[i];
    // The plane moves; the outline keeps its coordinates in it.
    const Vector3d normal = t.frame.normal - s.x[m + 1] * t.frame.ex - s.x[m + 2] * t.frame.ey;
    t.frame = make_plane_frame(t.frame.origin + s.x[m] * t.frame.normal, normal, t.frame.ex);
    if (round + 1 < windows_mm.size()) t.outline = resampled_to(t.outline, n);
  }
  return t;
}

}  // namespace interstice
