#include "edges/arris_fit.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "edges/arris_normal.h"
#include "edges/arris_uncertainty.h"
#include "edges/uneven_corner.h"

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
  ArrisNormal normal;  // of the last round
  double factor = 1;   // robust size of residuals in units of their sd
};

// What is known beforehand of the plane (its height and tilts over the present one, and how many readings of
// the edges err alike, so that they tell no more of the plane than one) and of the heights above it.
struct HeightPrior {
  Vector3d plane;
  double alike = 1;
  MatrixXd precision;  // of the knots' heights, for a variance of 1
  VectorXd knots;      // their present heights: expected at 0
  double uneven_mm = 0.1, knots_alike = 1;
};

// What is known beforehand as normal equations.
ArrisNormal prior_equations(const ArrisUnknowns& u, const HeightPrior& prior, const ArrisPrior& known) {
  ArrisNormal out(u);
  const Eigen::Index n = u.points();
  for (Eigen::Index i = 0; i < n; ++i) {
    const Eigen::Index k[3] = {(i + n - 1) % n, i, (i + 1) % n};
    const double c[3] = {1, -2, 1};
    for (int p = 0; p < 3; ++p) {
      for (int q = 0; q <= p; ++q) out.add(k[p], k[q], c[p] * c[q] / (kBendSd_mm * kBendSd_mm));
    }
    out.add(i, i, 1.0);  // a millimetre: keeps unseen points where they started
  }
  const BrokenCorner& corner = known.corner;
  const double height = known.height_sd_mm * known.height_sd_mm + corner.height_sd_mm * corner.height_sd_mm;
  const double tilt = known.tilt_sd * known.tilt_sd;
  const Vector3d weight = prior.alike * Vector3d(1 / height, 1 / tilt, 1 / tilt);
  for (int k = 0; k < 3; ++k) {
    out.add(u.plane() + k, u.plane() + k, weight[k]);
    out.add_right(u.plane() + k, weight[k] * prior.plane[k]);
    out.add(u.shade() + k, u.shade() + k, 1 / (kShadeSd * kShadeSd));
  }
  out.add_right(u.shade(), kShade / (kShadeSd * kShadeSd));
  out.add(u.wider(), u.wider(), prior.alike / std::pow(aspect_sd(corner), 2));
  const double uneven = prior.knots_alike / (prior.uneven_mm * prior.uneven_mm);
  const VectorXd now = uneven * (prior.precision * prior.knots);
  for (Eigen::Index k = 0; k < u.knots(); ++k) {
    for (Eigen::Index l = 0; l <= k; ++l) out.add(u.knot() + k, u.knot() + l, uneven * prior.precision(k, l));
    out.add_right(u.knot() + k, -now[k]);
  }
  return out;
}

// Sizes of the residuals become weights; their robust scale is returned, from the views that see a contour.
double reweight(const std::vector<ArrisUnknowns::Row>& rows, const VectorXd& x,
                std::vector<ArrisObservation>& observations) {
  std::vector<double> contour, all;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    ArrisObservation& o = observations[i];
    o.weight =
        std::abs(ArrisUnknowns::residual(rows[i], o.offset_mm, x)) / o.sd_mm;  // for now the size itself
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

// `rows`: of the observations.
Solution solve(const ArrisUnknowns& u, const std::vector<ArrisUnknowns::Row>& rows,
               std::vector<ArrisObservation>& observations, const HeightPrior& expected,
               const ArrisPrior& known) {
  const ArrisNormal prior = prior_equations(u, expected, known);
  Solution s{VectorXd::Zero(u.size()), prior};
  for (int round = 0; round < 8; ++round) {
    s.normal = prior;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const ArrisObservation& o = observations[i];
      s.normal.add(rows[i], o.weight / (o.sd_mm * o.sd_mm), o.offset_mm);
    }
    s.x = s.normal.solve();
    if (observations.empty()) break;
    s.factor = reweight(rows, s.x, observations);
  }
  return s;
}

// Arris plane as known beforehand over the present frame: height and tilts.
Vector3d expected_plane(const ArrisLine& line, const ArrisPrior& known) {
  const geometry::PlaneFrame &frame = line.frame, &face = known.face.plane;
  std::vector<Vector3d> outline;
  for (const Vector2d& p : line.outline) outline.push_back(frame.lift(p));
  const double bow = mean_bow_mm(known.face, outline);
  const Vector3d below = face.origin + (bow - known.corner.height_mm) * face.normal;
  const double a = -face.normal.dot(frame.ex), b = -face.normal.dot(frame.ey);
  const Vector2d at = frame.drop(below);
  return {frame.height(below) - a * at.x() - b * at.y(), a, b};
}

VectorXd heights_at_knots(const ArrisUnknowns& u, const ArrisLine& line) {
  VectorXd out(u.knots());
  const std::size_t n = line.outline.size();
  for (Eigen::Index k = 0; k < u.knots(); ++k) {
    const double at = static_cast<double>(k) * static_cast<double>(n) / static_cast<double>(u.knots());
    const auto i = static_cast<std::size_t>(at);
    const double t = at - static_cast<double>(i);
    out[k] = (1 - t) * line.z_mm[i % n] + t * line.z_mm[(i + 1) % n];
  }
  return out;
}

}  // namespace

ArrisSolution fit_readings(const ArrisUnknowns& u, const ArrisLine& line, const ArrisPrior& known,
                           std::vector<ArrisObservation>& observations) {
  constexpr int kRounds = 3;
  HeightPrior prior{expected_plane(line, known), 1, knots_precision(u), heights_at_knots(u, line),
                    known.corner.uneven_mm,      1};
  std::vector<ArrisUnknowns::Row> rows;
  for (const ArrisObservation& o : observations) rows.push_back(u.row(o));
  ArrisSolution out;
  for (int round = 0; round < kRounds; ++round) {
    Solution s = solve(u, rows, observations, prior, known);
    const double shared = shared_points(u, observations, s.x);
    out.inverse = s.normal.inverse();
    out.x = std::move(s.x);
    out.factor = s.factor;
    out.noise_scale = s.factor * s.factor * shared * per_freedom(u, observations, out.inverse);
    out.uneven_mm2 = uneven_square(u, prior.knots, out.x, out.inverse, out.noise_scale);
    prior.alike = shared * views_of_contour(observations, line.outline.size());
    prior.knots_alike = std::max(1.0, out.noise_scale);
    prior.uneven_mm = uneven_of_piece(u, known.corner.uneven_mm, out.uneven_mm2);
  }
  for (ArrisObservation& o : observations) o.residual_mm = u.residual(o, out.x);
  return out;
}

}  // namespace interstice::edges
