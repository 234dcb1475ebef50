// SolidBody: distance from a point to one piece.
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "geometry/polygon.h"
#include "solid/mouth.h"
#include "solid/triangle.h"

namespace interstice::solid {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr std::size_t kChunk = 8;  // wall quads to one bounding ball

// Depth at which the wall from p in direction w meets the form; heights are near linear along a wall, so a
// secant search that keeps its bracket converges in a few steps.
double depth_to_form(const geometry::Profile& form, const Vector3d& p, const Vector3d& w, double deepest) {
  double lo = 0, hi = deepest;
  double f_lo = form.locate(p).height, f_hi = form.locate(p + hi * w).height;
  if (f_lo <= 0) return 0;
  if (f_hi > 0) return deepest;
  for (int i = 0; i < 60 && hi - lo > 1e-7; ++i) {
    double mid = lo + (hi - lo) * f_lo / (f_lo - f_hi);
    if (i % 3 == 2) mid = (lo + hi) / 2;
    const double f = form.locate(p + mid * w).height;
    if (std::abs(f) < 1e-9) return mid;
    (f > 0 ? lo : hi) = mid;
    (f > 0 ? f_lo : f_hi) = f;
  }
  return (lo + hi) / 2;
}

// Inward displacement in the face for a unit step of the walls, mitred: every wall keeps its bevel at
// corners.
std::vector<Vector2d> inward_offsets(const geometry::Polygon& outline, double smooth_mm) {
  const std::size_t n = outline.size();
  const double step = geometry::perimeter(outline) / static_cast<double>(n);
  const auto half =
      static_cast<std::size_t>(std::clamp(smooth_mm / std::max(step, 1e-9), 1.0, static_cast<double>(n) / 4));
  std::vector<Vector2d> out(n, Vector2d::Zero());
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d before = (outline[i] - outline[(i + n - half) % n]).normalized();
    const Vector2d after = (outline[(i + half) % n] - outline[i]).normalized();
    const Vector2d t = before + after;
    if (t.norm() < 1e-9) continue;  // a spike: straight down
    const Vector2d inward(-t.normalized().y(), t.normalized().x());
    const double cosine = std::max(0.5, inward.dot(Vector2d(-after.y(), after.x())));
    out[i] = inward / cosine;
  }
  return out;
}

}  // namespace

std::vector<Vector3d> inward_steps(const geometry::PlaneFrame& face, const std::vector<Vector3d>& arris,
                                   double smooth_mm) {
  geometry::Polygon outline;
  for (const Vector3d& p : arris) outline.push_back(face.drop(p));
  std::vector<Vector3d> out;
  for (const Vector2d& step : inward_offsets(outline, smooth_mm)) {
    out.push_back(step.x() * face.ex + step.y() * face.ey);
  }
  return out;
}

std::vector<Vector3d> root_from_bevel(const geometry::PlaneFrame& face, const std::vector<Vector3d>& arris,
                                      const Walls& walls, const geometry::Profile& form) {
  const std::vector<Vector3d> inward = inward_steps(face, arris, walls.smooth_mm);
  std::vector<Vector3d> root;
  for (std::size_t i = 0; i < arris.size(); ++i) {
    const double bevel_deg = walls.measured_deg.empty() ? walls.bevel_deg : walls.measured_deg[i];
    const double slope = std::tan(bevel_deg * std::numbers::pi / 180.0);
    const Vector3d w = -face.normal + slope * inward[i];
    root.push_back(arris[i] + depth_to_form(form, arris[i], w, walls.thickness_mm) * w);
  }
  return root;
}

SolidBody::SolidBody(PieceSolid solid) : solid_(std::move(solid)) {
  const std::vector<Vector3d>& arris = solid_.arris;
  const std::vector<Vector3d>& root = solid_.root;
  const std::size_t n = arris.size();
  if (n < 3 || root.size() != n)
    throw std::invalid_argument("a piece needs at least 3 arris points and as many root points");
  Vector3d low = arris[0], high = arris[0];
  for (std::size_t i = 0; i < n; ++i) {
    if (!arris[i].allFinite() || !root[i].allFinite())
      throw std::invalid_argument("a piece has points that are not finite");
    low = low.cwiseMin(arris[i]).cwiseMin(root[i]);
    high = high.cwiseMax(arris[i]).cwiseMax(root[i]);
  }
  centre_ = (low + high) / 2;
  arc_.assign(1, 0.0);
  std::vector<Ball> quads;
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t j = (i + 1) % n;
    radius_ = std::max({radius_, (arris[i] - centre_).norm(), (root[i] - centre_).norm()});
    arc_.push_back(arc_.back() + (arris[j] - arris[i]).norm());
    outward_.push_back((arris[j] - arris[i]).cross(solid_.face.normal).normalized());
    const Vector3d middle = (arris[i] + arris[j] + root[i] + root[j]) / 4;
    quads.push_back({middle, std::max({(arris[i] - middle).norm(), (arris[j] - middle).norm(),
                                       (root[i] - middle).norm(), (root[j] - middle).norm()})});
    face_arris_.push_back(solid_.face.drop(arris[i]));
    const Vector2d r = solid_.face.drop(root[i]);
    face_arris3_.emplace_back(face_arris_[i].x(), face_arris_[i].y(), solid_.face.height(arris[i]));
    face_root3_.emplace_back(r.x(), r.y(), solid_.face.height(root[i]));
    const double top = face_arris3_[i].y(), foot = top + (face_root3_[i].y() - top);
    face_y_.push_back(std::minmax({top, foot}));
    quad_bars_.push_back(bar_of(i, i + 1));
  }
  for (std::size_t first = 0; first < n; first += kChunk) {
    const std::size_t last = std::min(n, first + kChunk);
    Ball ball{quads[(first + last) / 2].centre, 0};
    for (std::size_t i = first; i < last; ++i) {
      ball.radius = std::max(ball.radius, (quads[i].centre - ball.centre).norm() + quads[i].radius);
    }
    chunks_.push_back(ball);
    chunk_bars_.push_back(bar_of(first, last));
  }
}

// Of the wall from arris point `first` to `last`: how far from a line a triangle reaches, its corners reach.
WallBar SolidBody::bar_of(std::size_t first, std::size_t last) const {
  const std::size_t n = solid_.arris.size();
  const Vector3d top = (solid_.arris[first] + solid_.arris[last % n]) / 2,
                 down = (solid_.root[first] + solid_.root[last % n]) / 2 - top;
  WallBar bar{top, down, down.squaredNorm(), 0};
  for (std::size_t i = first; i <= last; ++i) {
    for (const Vector3d& p : {solid_.arris[i % n], solid_.root[i % n]})
      bar.radius = std::max(bar.radius, (top + along_segment(p, top, top + down) * down - p).norm());
  }
  bar.radius += 1e-9 * (bar.radius + down.norm() + top.norm());  // more than rounding takes
  return bar;
}

bool WallBar::beyond(const Vector3d& p, double distance) const {
  const Vector3d d = p - top;
  const double t = squared_length > 0 ? std::clamp(d.dot(down) / squared_length, 0.0, 1.0) : 0.0;
  const double reach = distance + radius;
  return (d - t * down).squaredNorm() >= reach * reach;
}

std::pair<std::size_t, double> SolidBody::place_of_arc(double arc_mm) const {
  const double whole = arc_.back();
  const double arc = arc_mm - std::floor(arc_mm / whole) * whole;
  const auto after = std::upper_bound(arc_.begin(), arc_.end() - 1, arc);
  const auto segment = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, after - arc_.begin() - 1));
  const double length = arc_[segment + 1] - arc_[segment];
  return {segment, length > 0 ? std::clamp((arc - arc_[segment]) / length, 0.0, 1.0) : 0.0};
}

Vector3d SolidBody::arris_at(std::size_t segment, double t) const {
  const Vector3d& p = solid_.arris[segment];
  return p + t * (solid_.arris[(segment + 1) % solid_.arris.size()] - p);
}

void SolidBody::search_wall(const Vector3d& p, std::size_t i, Nearest& best) const {
  if (quad_bars_[i].beyond(p, best.distance_mm)) return;
  const std::size_t j = (i + 1) % solid_.arris.size();
  const OnTriangle lower = nearest_on_triangle(p, solid_.arris[i], solid_.root[i], solid_.root[j]);
  const OnTriangle upper = nearest_on_triangle(p, solid_.arris[i], solid_.root[j], solid_.arris[j]);
  const bool use_lower = lower.squared < upper.squared;
  const OnTriangle& hit = use_lower ? lower : upper;
  const double distance = std::sqrt(hit.squared);
  if (distance >= best.distance_mm) return;
  best = {hit.point, distance, i, use_lower ? hit.c : hit.b + hit.c, use_lower ? hit.b + hit.c : hit.b};
}

void SolidBody::search_face(const Vector3d& p, Nearest& best) const {
  const double height = solid_.face.height(p);
  if (std::abs(height) >= best.distance_mm) return;
  const Vector2d q = solid_.face.drop(p);
  if (!geometry::contains(face_arris_, q)) return;
  const geometry::NearestOnPolyline edge = geometry::nearest_on_closed(solid_.arris, p);
  best = {solid_.face.lift(q), std::abs(height), edge.segment, edge.t, 0.0};
}

bool SolidBody::inside(const Vector3d& p) const {
  const double height = solid_.face.height(p);
  if (height > 0 || (p - centre_).norm() > radius_) return false;
  // Even-odd rule in the slice of the walls at this height.
  const Vector2d q = solid_.face.drop(p);
  const std::size_t n = face_root3_.size();
  const auto cut = [&](std::size_t i) -> Vector2d {
    const Vector3d& a = face_arris3_[i];
    const Vector3d d = face_root3_[i] - a;
    const double t = d.z() < -1e-9 ? std::clamp((height - a.z()) / d.z(), 0.0, 1.0) : 0.0;
    return a.head<2>() + t * d.head<2>();
  };
  // Most walls lie on one side of the point whatever their height.
  bool in = false;
  const auto above = [&](std::size_t i) {
    const auto [least, greatest] = face_y_[i];
    return least > q.y() || (greatest > q.y() && cut(i).y() > q.y());
  };
  bool b_above = above(n - 1);
  for (std::size_t i = 0, j = n - 1; i < n; j = i++) {
    const bool a_above = above(i);
    if (a_above != b_above) {
      const Vector2d a = cut(i), b = cut(j);
      if (q.x() < (b.x() - a.x()) * (q.y() - a.y()) / (b.y() - a.y()) + a.x()) in = !in;
    }
    b_above = a_above;
  }
  if (!in) return false;
  std::size_t nearest = 0;
  double nearest_squared = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < n; ++i) {
    const double squared = (cut(i) - q).squaredNorm();
    if (squared < nearest_squared) nearest_squared = squared, nearest = i;
  }
  return height >= face_root3_[nearest].z();  // not under the piece
}

std::optional<SolidBody::Nearest> SolidBody::nearest(const Vector3d& p, double limit_mm) const {
  if (empty() || (p - centre_).norm() > radius_ + std::max(0.0, limit_mm)) return std::nullopt;
  const bool within = inside(p);
  if (!within && limit_mm <= 0) return std::nullopt;
  Nearest best;
  const double start = within ? 2 * radius_ : limit_mm;
  best.distance_mm = start;
  std::size_t first_chunk = 0;
  double first_bound = std::numeric_limits<double>::infinity();
  for (std::size_t c = 0; c < chunks_.size(); ++c) {
    const double bound = (p - chunks_[c].centre).norm() - chunks_[c].radius;
    if (bound < first_bound) first_bound = bound, first_chunk = c;
  }
  const auto search_chunk = [&](std::size_t c) {
    const std::size_t last = std::min(quad_bars_.size(), (c + 1) * kChunk);
    for (std::size_t i = c * kChunk; i < last; ++i) search_wall(p, i, best);
  };
  search_chunk(first_chunk);
  for (std::size_t c = 0; c < chunks_.size(); ++c) {
    if (c != first_chunk && !chunk_bars_[c].beyond(p, best.distance_mm)) search_chunk(c);
  }
  // Overlapping pieces come apart across the seam, not through their faces: depth is counted to the walls.
  if (!within) search_face(p, best);
  if (best.distance_mm >= start) return std::nullopt;
  if (within) best.distance_mm = -best.distance_mm;
  return best;
}

}  // namespace interstice::solid
