#include "fit/trace_arris.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
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
constexpr double kHiddenFrom = -0.9, kHiddenTo = -0.12;
constexpr double kWallFrom = 0.25, kWallTo = 1.3;
constexpr double kWallViewFactor = 3.0;  // noise of views onto the wall against the others
constexpr double kBlur_px = 0.8;         // of the derivative filter: about a phone picture's own blur
constexpr double kAcross_mm = 0.75;      // the spacing of points: each reads its own stretch of edge
constexpr double kLeastContrast = 5.0;   // grey levels, a few times the noise of such a mean
constexpr double kEdgeSd_px = 0.12;      // at a contrast of 30 grey levels; rescaled by the residuals
constexpr double kEdgeFloor_mm = 0.02;   // roughness of a sawn and broken edge over one point's stretch
constexpr double kBendSd_mm = 0.08;      // second difference from point to point
constexpr int kFilterReach = 10;         // steps of a quarter pixel: three sigmas
// Phones keep colour at half the resolution of light (4:2:0): it must show more than that to be preferred.
constexpr double kColourTrust = 0.5;
constexpr double kReadSd = 3.0;  // robust cut, standard deviations

struct Edge {
  double offset_mm, contrast;
};

// What one photo shows at one point: the strongest step of each kind, with contrast 0 where there is none.
// Kinds: light falling or rising outwards, and likewise the two differences of colour.
constexpr std::size_t kKinds = 6;
struct Steps {
  std::size_t point;
  OutlineView view;
  std::array<Edge, kKinds> edges{};
  std::array<double, kKinds> scores{};  // contrast, less for places far from where the edge is expected
};

const std::vector<double>& step_filter() {
  static const std::vector<double> filter = [] {
    std::vector<double> f;
    const double sigma = kBlur_px / 0.25;
    for (int k = -kFilterReach; k <= kFilterReach; ++k) {
      f.push_back(k * std::exp(-0.5 * k * k / (sigma * sigma)));
    }
    double norm = 0;  // unit response to a unit step
    for (int k = 1; k <= kFilterReach; ++k) norm += f[static_cast<std::size_t>(k + kFilterReach)];
    for (double& x : f) x /= norm;
    return f;
  }();
  return filter;
}

// The best peak of sign * slope, a brightness derivative at steps of `step` mm about 0.
void best_peak(const std::vector<double>& slope, double sign, double step, double window_mm, Edge& edge,
               double& score) {
  const auto half = static_cast<int>(slope.size() / 2);
  int best = -1;
  for (int k = 1; k < 2 * half; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const double here = sign * slope[i];
    if (here < kLeastContrast || here < sign * slope[i - 1] || here < sign * slope[i + 1]) continue;
    const double x = (k - half) * step / window_mm;
    if (here * (1 - 0.5 * x * x) > score) {
      score = here * (1 - 0.5 * x * x);
      best = k;
    }
  }
  if (best < 0) return;
  const auto i = static_cast<std::size_t>(best);
  const double curve = slope[i - 1] - 2 * slope[i] + slope[i + 1];
  const double shift = sign * curve < 0 ? 0.5 * (slope[i - 1] - slope[i + 1]) / curve : 0;
  edge = {(best - half + shift) * step, sign * slope[i]};
}

// Steps of all kinds within +-window; false where the picture ends.
bool find_steps(const Picture& picture, double window_mm, Steps& found, ColourProfile& profile,
                std::vector<double>& slope) {
  const double step = 0.25 / found.view.px_per_mm;
  const int half = static_cast<int>(std::ceil(window_mm / step));
  const auto count = static_cast<std::size_t>(2 * (half + kFilterReach) + 1);
  read_colour_profile(picture, found.view, -(half + kFilterReach) * step, step, kAcross_mm, count, profile);
  const std::vector<double>& filter = step_filter();
  for (std::size_t c = 0; c < profile.size(); ++c) {
    slope.assign(static_cast<std::size_t>(2 * half + 1), 0);
    for (std::size_t k = 0; k < slope.size(); ++k) {
      double sum = 0;
      for (std::size_t j = 0; j < filter.size(); ++j)
        sum += filter[j] * static_cast<double>(profile[c][k + j]);
      if (!std::isfinite(sum)) return false;
      slope[k] = sum;
    }
    best_peak(slope, -1, step, window_mm, found.edges[2 * c], found.scores[2 * c]);
    best_peak(slope, 1, step, window_mm, found.edges[2 * c + 1], found.scores[2 * c + 1]);
  }
  for (std::size_t kind = 2; kind < kKinds; ++kind) found.scores[kind] *= kColourTrust;
  return true;
}

// Where on a corner broken at 45 degrees a photo sees the edge, as a standard deviation of its offset. A view
// onto the wall sees both ends of the corner and may take either for the edge (uniform). A view that has the
// wall hidden sees the lower end as a contour, unless the corner is as dark as what lies behind it
// (triangular, falling to the upper end).
double on_corner(double slope, double broken_mm) {
  const double width = broken_mm * std::max(0.0, 1 + slope);
  return slope > 0 ? width / std::sqrt(12.0) : width / std::sqrt(18.0);
}

// One photo sees the same kind of step over a few millimetres of edge: the neighbouring points vote.
void choose_kinds(const std::vector<Steps>& steps, std::size_t points, double broken_mm,
                  std::vector<ArrisObservation>& out) {
  constexpr std::size_t kHalf = 4;
  std::vector<std::array<double, kKinds>> scores(points);
  for (const Steps& s : steps) scores[s.point] = s.scores;
  for (const Steps& s : steps) {
    std::array<double, kKinds> votes{};
    for (std::size_t d = 0; d <= 2 * kHalf; ++d) {
      const auto& neighbour = scores[(s.point + points + d - kHalf) % points];
      for (std::size_t kind = 0; kind < kKinds; ++kind) votes[kind] += neighbour[kind];
    }
    const auto kind = static_cast<std::size_t>(std::max_element(votes.begin(), votes.end()) - votes.begin());
    const Edge& edge = s.edges[kind];
    if (edge.contrast < kLeastContrast) continue;
    const bool hidden = s.view.slope < 0;
    const double noise = kEdgeSd_px / s.view.px_per_mm * std::max(1.0, 30.0 / edge.contrast);
    const double sd = hidden ? std::hypot(noise, kEdgeFloor_mm)
                             : std::hypot(kWallViewFactor * noise, on_corner(s.view.slope, broken_mm));
    out.push_back({s.point, s.view.photo, s.view.slope, edge.offset_mm, edge.contrast, sd, 1.0});
  }
}

std::vector<ArrisObservation> observe(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                                      const PlaneFrame& frame, const Polygon& outline,
                                      const std::vector<Vector2d>& normals, double window_mm,
                                      double broken_mm, const Surroundings& around) {
  IndexedVector<PhotoIndex, std::vector<Steps>> seen(scan.photos.size());
  ColourProfile profile;
  std::vector<double> slope;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    for (const OutlineView& view :
         views_of_point(scan, pictures, frame, outline[i], normals[i], kLeastCosine, around)) {
      const bool hidden = view.slope >= kHiddenFrom && view.slope <= kHiddenTo;
      const bool wall = view.slope >= kWallFrom && view.slope <= kWallTo;
      if (!hidden && !wall) continue;
      Steps found{i, view};
      const double window = std::max(window_mm, 2.5 / view.px_per_mm);
      if (find_steps(pictures[view.photo], window, found, profile, slope)) seen[view.photo].push_back(found);
    }
  }
  std::vector<ArrisObservation> out;
  for (const std::vector<Steps>& steps : seen) choose_kinds(steps, outline.size(), broken_mm, out);
  return out;
}

// The unknowns: d of every point, then h, a, b of the plane z = h + a x + b y.
class Unknowns {
 public:
  explicit Unknowns(const Polygon& outline) : outline_(outline) {}
  Eigen::Index points() const { return static_cast<Eigen::Index>(outline_.size()); }
  Eigen::Index plane() const { return points(); }
  Eigen::Index size() const { return points() + 3; }

  // Non-zero derivatives of an observed offset: index and value.
  static constexpr int kTerms = 4;
  struct Row {
    Eigen::Index index[kTerms];
    double value[kTerms];
  };
  Row row(const ArrisObservation& o) const {
    const Vector2d& p = outline_[o.point];
    return {{static_cast<Eigen::Index>(o.point), plane(), plane() + 1, plane() + 2},
            {1, -o.slope, -o.slope * p.x(), -o.slope * p.y()}};
  }
  double residual(const ArrisObservation& o, const VectorXd& x) const {
    const Row r = row(o);
    double sum = o.offset_mm;
    for (int k = 0; k < kTerms; ++k) sum -= r.value[k] * x[r.index[k]];
    return sum;
  }

 private:
  const Polygon& outline_;
};

struct Solution {
  VectorXd x;
  MatrixXd covariance;
  double factor = 1;  // robust size of residuals in units of their sd
};

// What is known beforehand as normal equations. `expected`: height and tilts of the arris plane over the
// present one.
void add_prior(const Unknowns& u, const Vector3d& expected, const ArrisPrior& known, MatrixXd& a,
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
  const double height = known.height_sd_mm * known.height_sd_mm + known.broken_sd_mm * known.broken_sd_mm;
  const Vector3d weight(1 / height, 1 / (known.tilt_sd * known.tilt_sd), 1 / (known.tilt_sd * known.tilt_sd));
  for (int k = 0; k < 3; ++k) {
    a(u.plane() + k, u.plane() + k) += weight[k];
    b[u.plane() + k] += weight[k] * expected[k];
  }
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
  const auto mid = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), mid, sizes.end());
  const double factor = std::max(0.3, *mid / 0.6745);
  for (ArrisObservation& o : observations) {
    const double size = o.weight / (kReadSd * factor);
    o.weight = 1 / std::pow(1 + size * size, 2);
  }
  return factor;
}

Solution solve(const Unknowns& u, std::vector<ArrisObservation>& observations, const Vector3d& expected,
               const ArrisPrior& known) {
  Solution s;
  MatrixXd prior = MatrixXd::Zero(u.size(), u.size()), a;
  VectorXd prior_b = VectorXd::Zero(u.size());
  add_prior(u, expected, known, prior, prior_b);
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
  s.covariance = a.ldlt().solve(MatrixXd::Identity(u.size(), u.size())) * (s.factor * s.factor);
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

Polygon resampled_to(const Polygon& polygon, std::size_t count) {
  return resampled(polygon, perimeter(polygon) / static_cast<double>(count) * (1 + 1e-9));
}

// Arris plane as known beforehand over the present frame: height and tilts.
Vector3d expected_plane(const PlaneFrame& frame, const ArrisPrior& known) {
  const PlaneFrame& face = known.face;
  const Vector3d below = face.origin - known.broken_mm * face.normal;
  const double a = -face.normal.dot(frame.ex), b = -face.normal.dot(frame.ey);
  const Vector2d at = frame.drop(below);
  return {frame.height(below) - a * at.x() - b * at.y(), a, b};
}

double contour_residual(const Unknowns& u, const Solution& s,
                        const std::vector<ArrisObservation>& observations) {
  std::vector<double> residuals;
  for (const ArrisObservation& o : observations) {
    if (o.slope < 0) residuals.push_back(std::abs(u.residual(o, s.x)));
  }
  if (residuals.empty()) return s.factor;
  const auto mid = residuals.begin() + static_cast<std::ptrdiff_t>(residuals.size() / 2);
  std::nth_element(residuals.begin(), mid, residuals.end());
  return *mid / 0.6745;
}

// Standard uncertainties of the points; negative where no photo shows one.
std::vector<double> point_sds(const Unknowns& u, const Solution& s,
                              const std::vector<ArrisObservation>& observations, const ArrisPrior& known) {
  constexpr std::size_t kBridge = 2;
  const auto n = static_cast<std::size_t>(u.points());
  std::vector<double> out(n), seen(n, 0), all(n, 0), corner(n, 0);
  for (const ArrisObservation& o : observations) {
    const double w = o.weight / (o.sd_mm * o.sd_mm);
    seen[o.point] += o.weight;
    all[o.point] += w;
    corner[o.point] += w * on_corner(o.slope, known.broken_mm);
  }
  for (std::size_t i = 0; i < n; ++i) {
    const auto k = static_cast<Eigen::Index>(i);
    const double sd = std::sqrt(std::max(1e-6, s.covariance(k, k)));
    // The same place on the corner over a whole side: no number of points averages that down.
    const double total = all[i] > 0 ? std::hypot(sd, corner[i] / all[i]) : sd;
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
        observe(scan, pictures, t.frame, t.outline, normals, windows_mm[round], known.broken_mm, around);
    const Unknowns u(t.outline);
    Solution s = solve(u, t.observations, expected_plane(t.frame, known), known);
    s.covariance *= shared_points(u, t.observations, s.x);
    t.residual_mm = contour_residual(u, s, t.observations);
    t.sd_mm = point_sds(u, s, t.observations, known);
    const Eigen::Index m = u.plane();
    t.plane_sd_mm = std::sqrt(std::max(0.0, s.covariance(m, m)));
    for (std::size_t i = 0; i < n; ++i) t.outline[i] += s.x[static_cast<Eigen::Index>(i)] * normals[i];
    // The plane moves; the outline keeps its coordinates in it.
    const Vector3d normal = t.frame.normal - s.x[m + 1] * t.frame.ex - s.x[m + 2] * t.frame.ey;
    t.frame = make_plane_frame(t.frame.origin + s.x[m] * t.frame.normal, normal, t.frame.ex);
    if (round + 1 < windows_mm.size()) t.outline = resampled_to(t.outline, n);
  }
  return t;
}

}  // namespace interstice
