#include "geometry/profile.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

namespace interstice::geometry {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// A form comes with some two hundred points: runs of about the root of that cost least.
constexpr std::size_t kRun = 12;
constexpr double kRunSlack_mm = 1e-6;  // so that rounding passes over no nearest chord

struct HermiteValue {
  Vector2d p, d1, d2;  // position and derivatives by arc length
};

HermiteValue hermite(const Vector2d& p0, const Vector2d& m0, const Vector2d& p1, const Vector2d& m1, double h,
                     double s) {
  const double t = s / h, t2 = t * t, t3 = t2 * t;
  HermiteValue v;
  v.p =
      (2 * t3 - 3 * t2 + 1) * p0 + (t3 - 2 * t2 + t) * h * m0 + (-2 * t3 + 3 * t2) * p1 + (t3 - t2) * h * m1;
  v.d1 = ((6 * t2 - 6 * t) * (p0 - p1)) / h + (3 * t2 - 4 * t + 1) * m0 + (3 * t2 - 2 * t) * m1;
  v.d2 = ((12 * t - 6) * (p0 - p1)) / (h * h) + ((6 * t - 4) * m0 + (6 * t - 2) * m1) / h;
  return v;
}

std::size_t segment_of(const std::vector<double>& arc, double rho) {
  const auto it = std::upper_bound(arc.begin(), arc.end(), rho);
  const auto i = static_cast<std::size_t>(std::max<std::ptrdiff_t>(1, it - arc.begin()));
  return std::min(i, arc.size() - 1) - 1;
}

}  // namespace

Profile::Profile(std::vector<Vector2d> rz) : rz_(std::move(rz)) {
  const std::size_t n = rz_.size();
  if (n < 3) throw std::invalid_argument("a profile needs at least 3 points");
  if (std::abs(rz_[0].x()) > 1e-6) throw std::invalid_argument("a profile starts at the pole, r = 0");
  arc_.assign(n, 0.0);
  for (std::size_t i = 1; i < n; ++i) {
    const double step = (rz_[i] - rz_[i - 1]).norm();
    if (!(step > 1e-9)) throw std::invalid_argument("a profile point is repeated");
    if (!(rz_[i].x() > 0)) throw std::invalid_argument("a profile reaches the axis only at the pole");
    arc_[i] = arc_[i - 1] + step;
  }
  tangent_.resize(n);
  for (std::size_t i = 1; i + 1 < n; ++i) {
    const double h0 = arc_[i] - arc_[i - 1], h1 = arc_[i + 1] - arc_[i];
    const Vector2d d0 = (rz_[i] - rz_[i - 1]) / h0, d1 = (rz_[i + 1] - rz_[i]) / h1;
    tangent_[i] = ((h1 * d0 + h0 * d1) / (h0 + h1)).normalized();
  }
  tangent_[0] = Vector2d(1, 0);  // a surface of revolution is level at its pole
  const Vector2d last = (rz_[n - 1] - rz_[n - 2]).normalized();
  tangent_[n - 1] = (2 * last - tangent_[n - 2]).normalized();
}

MeridianPoint Profile::at(double rho) const {
  MeridianPoint m;
  const double s = std::max(0.0, rho);
  if (s >= arc_.back()) {
    m.tangent = tangent_.back();
    m.rz = rz_.back() + (s - arc_.back()) * m.tangent;
  } else {
    const std::size_t i = segment_of(arc_, s);
    const HermiteValue v =
        hermite(rz_[i], tangent_[i], rz_[i + 1], tangent_[i + 1], arc_[i + 1] - arc_[i], s - arc_[i]);
    m.rz = v.p;
    m.tangent = v.d1.normalized();
  }
  m.normal = Vector2d(-m.tangent.y(), m.tangent.x());
  return m;
}

Vector3d Profile::point(const Vector2d& uv, double height) const {
  const double rho = uv.norm();
  const MeridianPoint m = at(rho);
  const Vector2d e = rho > 1e-12 ? Vector2d(uv / rho) : Vector2d(1, 0);
  const Vector2d rz = m.rz + height * m.normal;
  return {rz.x() * e.x(), rz.x() * e.y(), rz.y()};
}

Vector3d Profile::normal(const Vector2d& uv) const {
  const double rho = uv.norm();
  const Vector2d e = rho > 1e-12 ? Vector2d(uv / rho) : Vector2d(1, 0);
  const Vector2d n = at(rho).normal;
  return {n.x() * e.x(), n.x() * e.y(), n.y()};
}

Vector3d Profile::along_ring(const Vector2d& uv) const {
  const double rho = uv.norm();
  if (rho < 1e-9) return Vector3d::UnitX();
  return {-uv.y() / rho, uv.x() / rho, 0.0};
}

Vector3d Profile::towards_pole(const Vector2d& uv) const {
  const double rho = uv.norm();
  if (rho < 1e-9) return Vector3d::UnitY();
  const Vector2d t = at(rho).tangent;
  return {-t.x() * uv.x() / rho, -t.x() * uv.y() / rho, -t.y()};
}

double Profile::nearest_rho(const Vector2d& q) const {
  // Nothing of a run of chords lies nearer than its first point less its length: most runs are passed over.
  double best = std::numeric_limits<double>::infinity(), rho = 0, bound = best;
  const std::size_t chords = rz_.size() - 1;
  for (std::size_t from = 0; from < chords; from += kRun) bound = std::min(bound, (rz_[from] - q).norm());
  bound += kRunSlack_mm;
  for (std::size_t from = 0; from < chords; from += kRun) {
    const std::size_t to = std::min(from + kRun, chords);
    if ((rz_[from] - q).norm() - (arc_[to] - arc_[from]) > bound) continue;
    for (std::size_t i = from; i < to; ++i) {
      const Vector2d d = rz_[i + 1] - rz_[i];
      const double t = std::clamp((q - rz_[i]).dot(d) / d.squaredNorm(), 0.0, 1.0);
      const double dist = (rz_[i] + t * d - q).squaredNorm();
      if (dist < best) {
        best = dist;
        rho = arc_[i] + t * (arc_[i + 1] - arc_[i]);
      }
    }
  }
  const double beyond = (q - rz_.back()).dot(tangent_.back());
  if (beyond > 0 && rho >= arc_.back() - 1e-9) return arc_.back() + beyond;
  // Newton on (p(s) - q) . p'(s) = 0 within the segment's neighbourhood.
  for (int k = 0; k < 8; ++k) {
    if (rho >= arc_.back()) break;
    const std::size_t i = segment_of(arc_, rho);
    const HermiteValue v =
        hermite(rz_[i], tangent_[i], rz_[i + 1], tangent_[i + 1], arc_[i + 1] - arc_[i], rho - arc_[i]);
    const double f = (v.p - q).dot(v.d1);
    const double df = v.d1.squaredNorm() + (v.p - q).dot(v.d2);
    const double step = df > 1e-9 ? f / df : 0.0;
    const double limit = arc_[i + 1] - arc_[i];
    rho = std::clamp(rho - std::clamp(step, -limit, limit), 0.0, arc_.back());
    if (std::abs(step) < 1e-12) break;
  }
  return rho;
}

MapPoint Profile::locate(const Vector3d& p) const {
  const double r = p.head<2>().norm();
  const Vector2d q(r, p.z());
  const double rho = nearest_rho(q);
  const MeridianPoint m = at(rho);
  const Vector2d e = r > 1e-12 ? Vector2d(p.head<2>() / r) : Vector2d(1, 0);
  return {rho * e, (q - m.rz).dot(m.normal)};
}

Profile Profile::offset(const std::vector<double>& offset_mm) const {
  if (offset_mm.size() != rz_.size()) throw std::invalid_argument("one offset a profile point is needed");
  std::vector<Vector2d> moved = rz_;
  for (std::size_t i = 0; i < rz_.size(); ++i) {
    const Vector2d normal(-tangent_[i].y(), tangent_[i].x());
    moved[i] += offset_mm[i] * normal;
  }
  moved[0].x() = 0;
  return Profile(std::move(moved));
}

}  // namespace interstice::geometry
