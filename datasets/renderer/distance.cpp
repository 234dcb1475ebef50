#include "renderer/distance.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

LevelRing between(const LevelRing& a, const LevelRing& b, double t) {
  LevelRing out;
  for (std::size_t i = 0; i < a.size(); ++i) {
    out.push_back({a[i].depth_mm + t * (b[i].depth_mm - a[i].depth_mm),
                   a[i].inset_mm + t * (b[i].inset_mm - a[i].inset_mm)});
  }
  return out;
}

Ring ring_points(const Outline& outline, const LevelRing& level) {
  std::vector<double> distances;
  for (const Level& l : level) distances.push_back(-l.inset_mm);
  const Outline moved = offset_points(outline, distances);
  Ring out;
  for (std::size_t i = 0; i < moved.size(); ++i)
    out.emplace_back(moved[i].x(), moved[i].y(), -level[i].depth_mm);
  return out;
}

Body::Body(const Frame& frame, const Outline& outline, const std::vector<LevelRing>& levels,
           std::size_t widest, const std::vector<Ring>& face)
    : frame_(frame), outline_(outline), widest_(widest) {
  const auto to_bowl = [&](Ring ring) {
    for (const Vector3d& p : ring) lowest_ = std::min(lowest_, p.z()), highest_ = std::max(highest_, p.z());
    for (Vector3d& p : ring) p = frame.to_bowl(p);
    return ring;
  };
  for (const LevelRing& level : levels) {
    rings_.push_back(to_bowl(ring_points(outline, level)));
    narrows_ =
        narrows_ && std::all_of(level.begin(), level.end(), [](const Level& l) { return l.inset_mm >= 0; });
  }
  for (std::size_t k = 0; k + 1 < rings_.size(); ++k) add_band(rings_[k], rings_[k + 1]);
  const Vector2d c = area_centroid(outline);
  Vector3d top = frame.to_bowl({c.x(), c.y(), -levels.front().front().depth_mm});
  const Vector3d bottom = frame.to_bowl({c.x(), c.y(), -levels.back().front().depth_mm});
  Ring edge = rings_.front();
  for (const Ring& inner : face) {
    Ring row = to_bowl(inner);
    add_band(row, edge);
    edge = std::move(row);
  }
  if (!face.empty()) {
    top.setZero();
    for (const Vector3d& p : edge) top += p / static_cast<double>(edge.size());
  }
  const std::size_t n = outline.size();
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t j = (i + 1) % n;
    add_triangle(top, edge[i], edge[j]);
    add_triangle(bottom, rings_.back()[j], rings_.back()[i]);
  }
  add_groups();
  centre_ = 0.5 * (top + bottom);
  for (const auto& ring : rings_) {
    for (const Vector3d& p : ring) radius_ = std::max(radius_, (p - centre_).norm());
  }
}

void Body::add_band(const Ring& upper, const Ring& lower) {
  const std::size_t n = upper.size();
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t j = (i + 1) % n;
    add_triangle(upper[i], lower[i], lower[j]);
    add_triangle(upper[i], lower[j], upper[j]);
  }
}

void Body::add_triangle(const Vector3d& a, const Vector3d& b, const Vector3d& c) {
  Triangle t{{a, b, c}, (a + b + c) / 3, 0};
  for (const Vector3d& p : t.corner) t.radius = std::max(t.radius, (p - t.centre).norm());
  triangles_.push_back(t);
}

void Body::add_groups() {
  for (std::size_t first = 0; first < triangles_.size(); first += kGroup) {
    const std::size_t end = std::min(triangles_.size(), first + kGroup);
    Ball ball{Vector3d::Zero(), 0};
    for (std::size_t i = first; i < end; ++i)
      ball.centre += triangles_[i].centre / static_cast<double>(end - first);
    for (std::size_t i = first; i < end; ++i) {
      ball.radius = std::max(ball.radius, (triangles_[i].centre - ball.centre).norm() + triangles_[i].radius);
    }
    groups_.push_back(ball);
  }
}

namespace {

// Solid angle of a triangle seen from the origin, positive where its front turns away (van Oosterom, Strackee 1983).
double solid_angle(const Vector3d& a, const Vector3d& b, const Vector3d& c) {
  const double la = a.norm(), lb = b.norm(), lc = c.norm();
  const double side = la * lb * lc + a.dot(b) * lc + a.dot(c) * lb + b.dot(c) * la;
  return 2 * std::atan2(a.dot(b.cross(c)), side);
}

}  // namespace

bool Body::contains(const Vector3d& p) const {
  if ((p - centre_).norm() > radius_) return false;
  const Vector3d q = frame_.from_bowl(p);
  if (q.z() < lowest_ || q.z() > highest_) return false;
  if (narrows_ && !inside(outline_, q.head<2>())) return false;
  double seen = 0;  // from inside, the surface is all round: 4 pi
  for (const Triangle& t : triangles_) seen += solid_angle(t.corner[0] - p, t.corner[1] - p, t.corner[2] - p);
  return seen > 2 * std::numbers::pi;
}

Vector3d nearest_on_segment(const Vector3d& p, const Vector3d& a, const Vector3d& b) {
  const Vector3d d = b - a;
  const double length2 = d.squaredNorm();
  return length2 > 0 ? Vector3d(a + std::clamp((p - a).dot(d) / length2, 0.0, 1.0) * d) : a;
}

Vector3d nearest_on_triangle(const Vector3d& p, const Vector3d& a, const Vector3d& b, const Vector3d& c) {
  const Vector3d n = (b - a).cross(c - a);
  const double n2 = n.squaredNorm();
  if (n2 > 0) {
    const Vector3d q = p - (p - a).dot(n) / n2 * n;
    const bool in = (b - a).cross(q - a).dot(n) >= 0 && (c - b).cross(q - b).dot(n) >= 0 &&
                    (a - c).cross(q - c).dot(n) >= 0;
    if (in) return q;
  }
  Vector3d best = nearest_on_segment(p, a, b);
  for (const Vector3d& q : {nearest_on_segment(p, b, c), nearest_on_segment(p, c, a)}) {
    if ((q - p).squaredNorm() < (best - p).squaredNorm()) best = q;
  }
  return best;
}

std::vector<Vector3d> dense(const std::vector<Vector3d>& curve, double step) {
  std::vector<Vector3d> out;
  for (std::size_t i = 0; i < curve.size(); ++i) {
    const Vector3d &a = curve[i], &b = curve[(i + 1) % curve.size()];
    const int parts = std::max(1, static_cast<int>(std::ceil((b - a).norm() / step)));
    for (int k = 0; k < parts; ++k) out.push_back(a + (b - a) * k / parts);
  }
  return out;
}

namespace {

constexpr double kCoarse = 0.4;   // mm between the points first looked at
constexpr int kFineParts = 20;    // parts of such a step near the shortest place
constexpr double kLookAhead = 6;  // mm: how much further than the best so far distances are still worked out

// `hint` is the triangle found last: tried first, it rules out nearly all others at a glance.
Shortest point_to_body(const Vector3d& p, const Body& body, double reach, std::size_t& hint) {
  Shortest best;
  best.mm = reach;
  bool found = false;
  const std::vector<Body::Triangle>& all = body.triangles();
  const auto look = [&](std::size_t i) {
    const Body::Triangle& t = all[i];
    const double far = best.mm + t.radius;
    if ((t.centre - p).squaredNorm() > far * far) return;
    const Vector3d q = nearest_on_triangle(p, t.corner[0], t.corner[1], t.corner[2]);
    const double d2 = (q - p).squaredNorm();
    if (d2 > best.mm * best.mm) return;
    best = {std::sqrt(d2), p, q};
    hint = i;
    found = true;
  };
  look(hint);
  for (std::size_t group = 0; group < body.groups().size(); ++group) {
    const Body::Ball& ball = body.groups()[group];
    const double far = best.mm + ball.radius;
    if ((ball.centre - p).squaredNorm() > far * far) continue;
    const std::size_t end = std::min(all.size(), (group + 1) * Body::kGroup);
    for (std::size_t i = group * Body::kGroup; i < end; ++i) look(i);
  }
  return found ? best : Shortest{};
}

}  // namespace

Shortest curve_to_body(const std::vector<Vector3d>& curve, const Body& body, double reach) {
  Shortest best;
  bool found = false;
  best.mm = reach;
  // Returns a lower bound of the point's distance: no place nearer along the curve than that can be closer.
  std::size_t hint = 0;
  const auto look = [&](const Vector3d& p) {
    const double off = (p - body.centre()).norm() - body.radius_mm();
    if (off > best.mm) return off;
    if (body.contains(p)) {
      best = {0, p, p};
      found = true;
      return 0.0;
    }
    const double see = best.mm + kLookAhead;
    const Shortest s = point_to_body(p, body, see, hint);
    if (s.mm <= best.mm) {
      best = s;
      found = true;
    }
    return std::min(s.mm, see);
  };
  const std::vector<Vector3d> coarse = dense(curve, kCoarse);
  for (std::size_t i = 0; i < coarse.size() && best.mm > 0;) {
    const double bound = look(coarse[i]);
    i += static_cast<std::size_t>(std::max(1.0, std::floor((bound - best.mm) / kCoarse)));
  }
  if (!found || best.mm == 0) return found ? best : Shortest{};
  // Then finely round the best place.
  const Vector3d near = best.from;
  for (std::size_t i = 0; i < coarse.size(); ++i) {
    const Vector3d &a = coarse[i], &b = coarse[(i + 1) % coarse.size()];
    if (std::min((a - near).norm(), (b - near).norm()) > 1.5 * kCoarse) continue;
    for (int k = 0; k < kFineParts; ++k) look(a + (b - a) * k / kFineParts);
  }
  return best;
}

double point_to_curve(const Vector3d& p, const std::vector<Vector3d>& curve) {
  double best = 1e18;
  for (std::size_t i = 0; i < curve.size(); ++i) {
    best = std::min(best, (nearest_on_segment(p, curve[i], curve[(i + 1) % curve.size()]) - p).squaredNorm());
  }
  return std::sqrt(best);
}

}  // namespace interstice::renderer
