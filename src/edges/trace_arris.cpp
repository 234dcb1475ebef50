#include "edges/trace_arris.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "edges/arris_uncertainty.h"
#include "edges/arris_unknowns.h"

namespace interstice::edges {

using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

namespace {

constexpr double kBendSd_mm = 0.08;  // second difference from point to point
constexpr double kReadSd = 3.0;      // robust cut, standard deviations
// How much darker than the face a corner at 45 degrees is, as a share of the face's light. Light from all of
// the half-space above the face: 1 - (1 + cos 45 deg) / 2 = 0.15. One lamp makes it brighter on its own side
// and darker on the other.
constexpr double kShade = 0.15, kShadeSd = 0.1;

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
void add_prior(const ArrisUnknowns& u, const PlanePrior& plane, const ArrisPrior& known, MatrixXd& a,
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
double reweight(const ArrisUnknowns& u, const VectorXd& x, std::vector<ArrisObservation>& observations) {
  std::vector<double> contour, all;
  for (ArrisObservation& o : observations) {
    o.weight = std::abs(u.residual(o, x)) / o.sd_mm;  // for now the size itself
    all.push_back(o.weight);
    if (o.slope < 0) contour.push_back(o.weight);
  }
  std::vector<double>& sizes = 4 * contour.size() > all.size() ? contour : all;
  const double factor = std::max(0.3, core::robust_sd(std::move(sizes)));
  for (ArrisObservation& o : observations) {
    const double size = o.weight / (kReadSd * factor);
    o.weight = 1 / std::pow(1 + size * size, 2);
  }
  return factor;
}

Solution solve(const ArrisUnknowns& u, std::vector<ArrisObservation>& observations, const PlanePrior& plane,
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
      const ArrisUnknowns::Row r = u.row(o);
      const double w = o.weight / (o.sd_mm * o.sd_mm);
      for (int p = 0; p < ArrisUnknowns::kTerms; ++p) {
        b[r.index[p]] += w * r.value[p] * o.offset_mm;
        for (int q = 0; q < ArrisUnknowns::kTerms; ++q)
          a(r.index[p], r.index[q]) += w * r.value[p] * r.value[q];
      }
    }
    s.x = a.ldlt().solve(b);
    if (observations.empty()) break;
    s.factor = reweight(u, s.x, observations);
  }
  s.normal = std::move(a);
  return s;
}

geometry::Polygon resampled_to(const geometry::Polygon& polygon, std::size_t count) {
  return geometry::resampled(polygon, geometry::perimeter(polygon) / static_cast<double>(count) * (1 + 1e-9));
}

// Arris plane as known beforehand over the present frame: height and tilts.
Vector3d expected_plane(const geometry::PlaneFrame& frame, const ArrisPrior& known) {
  const geometry::PlaneFrame& face = known.face;
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
  return residuals.empty() ? if_none : core::robust_sd(std::move(residuals));
}

}  // namespace

TracedArris trace_arris(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const geometry::PlaneFrame& frame, const geometry::Polygon& outline,
                        const ArrisPrior& known, const std::vector<double>& windows_mm,
                        const Surroundings& around) {
  TracedArris t;
  t.frame = frame;
  t.outline = outline;
  const std::size_t n = outline.size();
  for (std::size_t round = 0; round < windows_mm.size(); ++round) {
    const std::vector<Vector2d> normals = geometry::outward_normals(t.outline);
    t.observations =
        observe_edges(scan, pictures, t.frame, t.outline, normals, windows_mm[round], known.corner, around);
    const ArrisUnknowns u(t.outline, normals, known.corner);
    PlanePrior plane{expected_plane(t.frame, known)};
    Solution s = solve(u, t.observations, plane, known);
    const double shared = shared_points(u, t.observations, s.x);
    plane.alike = shared * views_of_contour(t.observations, n);
    s = solve(u, t.observations, plane, known);
    const MatrixXd inverse = s.normal.ldlt().solve(MatrixXd::Identity(u.size(), u.size()));
    t.noise_scale = s.factor * s.factor * shared * per_freedom(u, t.observations, inverse);
    for (ArrisObservation& o : t.observations) o.residual_mm = u.residual(o, s.x);
    t.residual_mm = contour_residual(t.observations, s.factor);
    const bool last = round + 1 == windows_mm.size();
    if (last) {
      const ArrisFit fit{scan, u, t.observations, inverse, known.corner, s.factor};
      t.alone = shown_alone(t.observations, n);
      t.sd_mm = point_sds(fit, t.frame, t.alone, t.noise_scale);
      t.shared_error_mm = shared_half_widths(t.observations, n);
    }
    const auto sd_of = [&](Eigen::Index k) {
      return std::sqrt(std::max(0.0, t.noise_scale * inverse(k, k)));
    };
    const Eigen::Index m = u.plane();
    t.wider_mm = s.x[u.wider()];
    t.wider_sd_mm = sd_of(u.wider());
    t.plane_sd_mm = sd_of(m);
    for (std::size_t i = 0; i < n; ++i) t.outline[i] += s.x[static_cast<Eigen::Index>(i)] * normals[i];
    // The plane moves; the outline keeps its coordinates in it.
    const Vector3d normal = t.frame.normal - s.x[m + 1] * t.frame.ex - s.x[m + 2] * t.frame.ey;
    t.frame = geometry::make_plane_frame(t.frame.origin + s.x[m] * t.frame.normal, normal, t.frame.ex);
    if (!last) t.outline = resampled_to(t.outline, n);
  }
  return t;
}

}  // namespace interstice::edges
