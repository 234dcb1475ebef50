#include "geometry/polygon.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace interstice::geometry {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

double cross(const Vector2d& a, const Vector2d& b) {
  return a.x() * b.y() - a.y() * b.x();
}

bool on_segment(const Vector2d& a, const Vector2d& b, const Vector2d& p) {
  return std::min(a.x(), b.x()) <= p.x() && p.x() <= std::max(a.x(), b.x()) &&
         std::min(a.y(), b.y()) <= p.y() && p.y() <= std::max(a.y(), b.y());
}

bool segments_meet(const Vector2d& a, const Vector2d& b, const Vector2d& c, const Vector2d& d) {
  const double o1 = cross(b - a, c - a), o2 = cross(b - a, d - a);
  const double o3 = cross(d - c, a - c), o4 = cross(d - c, b - c);
  if (((o1 > 0) != (o2 > 0)) && ((o3 > 0) != (o4 > 0)) && o1 != 0 && o2 != 0 && o3 != 0 && o4 != 0)
    return true;
  return (o1 == 0 && on_segment(a, b, c)) || (o2 == 0 && on_segment(a, b, d)) ||
         (o3 == 0 && on_segment(c, d, a)) || (o4 == 0 && on_segment(c, d, b));
}

}  // namespace

double signed_area(const Polygon& polygon) {
  double twice = 0;
  for (std::size_t i = 0; i < polygon.size(); ++i)
    twice += cross(polygon[i], polygon[(i + 1) % polygon.size()]);
  return twice / 2;
}

Vector2d centroid(const Polygon& polygon) {
  Vector2d sum = Vector2d::Zero();
  double twice = 0;
  const Vector2d base = polygon.empty() ? Vector2d::Zero() : polygon[0];
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Vector2d a = polygon[i] - base, b = polygon[(i + 1) % polygon.size()] - base;
    const double w = cross(a, b);
    sum += w * (a + b);
    twice += w;
  }
  return std::abs(twice) > 1e-300 ? Vector2d(base + sum / (3 * twice)) : base;
}

double perimeter(const Polygon& polygon) {
  double length = 0;
  for (std::size_t i = 0; i < polygon.size(); ++i)
    length += (polygon[(i + 1) % polygon.size()] - polygon[i]).norm();
  return length;
}

bool contains(const Polygon& polygon, const Vector2d& p) {
  bool inside = false;
  for (std::size_t i = 0, j = polygon.size() - 1; i < polygon.size(); j = i++) {
    const Vector2d& a = polygon[i];
    const Vector2d& b = polygon[j];
    if ((a.y() > p.y()) != (b.y() > p.y()) &&
        p.x() < (b.x() - a.x()) * (p.y() - a.y()) / (b.y() - a.y()) + a.x()) {
      inside = !inside;
    }
  }
  return inside;
}

std::optional<std::pair<std::size_t, std::size_t>> self_crossing(const Polygon& polygon) {
  const std::size_t n = polygon.size();
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = i + 2; j < n; ++j) {
      if (i == 0 && j == n - 1) continue;
      if (segments_meet(polygon[i], polygon[i + 1], polygon[j], polygon[(j + 1) % n])) return std::pair(i, j);
    }
  }
  return std::nullopt;
}

std::vector<Vector2d> outward_normals(const Polygon& polygon) {
  const std::size_t n = polygon.size();
  std::vector<Vector2d> normals(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d before = (polygon[i] - polygon[(i + n - 1) % n]).normalized();
    const Vector2d after = (polygon[(i + 1) % n] - polygon[i]).normalized();
    const Vector2d t = before + after;
    normals[i] = t.norm() > 1e-9 ? Vector2d(t.y(), -t.x()).normalized() : Vector2d(after.y(), -after.x());
  }
  return normals;
}

Polygon grown(const Polygon& polygon, double distance) {
  const std::size_t n = polygon.size();
  const std::vector<Vector2d> normals = outward_normals(polygon);
  Polygon out(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d after = (polygon[(i + 1) % n] - polygon[i]).normalized();
    const double cosine = std::max(0.5, normals[i].dot(Vector2d(after.y(), -after.x())));
    out[i] = polygon[i] + distance / cosine * normals[i];
  }
  return out;
}

Polygon resampled(const Polygon& polygon, double step) {
  const double length = perimeter(polygon);
  const auto count = static_cast<std::size_t>(std::max(3.0, std::ceil(length / step)));
  Polygon out;
  std::size_t edge = 0;
  double before = 0;
  for (std::size_t k = 0; k < count; ++k) {
    const double s = length * static_cast<double>(k) / static_cast<double>(count);
    for (;;) {
      const Vector2d& a = polygon[edge % polygon.size()];
      const Vector2d& b = polygon[(edge + 1) % polygon.size()];
      const double len = (b - a).norm();
      if (before + len >= s || edge + 1 >= polygon.size()) {
        out.push_back(len > 0 ? Vector2d(a + (b - a) * std::clamp((s - before) / len, 0.0, 1.0)) : a);
        break;
      }
      before += len;
      ++edge;
    }
  }
  return out;
}

NearestOnPolyline nearest_on_closed(const std::vector<Vector3d>& polyline, const Vector3d& p) {
  NearestOnPolyline best{p, std::numeric_limits<double>::infinity(), 0, 0};
  for (std::size_t i = 0; i < polyline.size(); ++i) {
    const Vector3d& a = polyline[i];
    const Vector3d d = polyline[(i + 1) % polyline.size()] - a;
    const double len2 = d.squaredNorm();
    const double t = len2 > 0 ? std::clamp((p - a).dot(d) / len2, 0.0, 1.0) : 0.0;
    const Vector3d q = a + t * d;
    const double distance = (q - p).norm();
    if (distance < best.distance) best = {q, distance, i, t};
  }
  return best;
}

}  // namespace interstice::geometry
