#include "renderer/outline.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;

namespace {

double cross(const Vector2d& a, const Vector2d& b) {
  return a.x() * b.y() - a.y() * b.x();
}

Vector2d right_of(const Vector2d& d) {
  return {d.y(), -d.x()};
}

Outline clipped(const Outline& polygon, const HalfPlane& plane) {
  Outline out;
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Vector2d &a = polygon[i], &b = polygon[(i + 1) % polygon.size()];
    const double fa = plane.normal.dot(a) - plane.offset, fb = plane.normal.dot(b) - plane.offset;
    if (fa <= 0) out.push_back(a);
    if ((fa < 0 && fb > 0) || (fa > 0 && fb < 0)) out.push_back(a + fa / (fa - fb) * (b - a));
  }
  return out;
}

Outline without_tiny_edges(const Outline& polygon, double least) {
  Outline out;
  for (const Vector2d& p : polygon) {
    if (out.empty() || (p - out.back()).norm() > least) out.push_back(p);
  }
  while (out.size() > 1 && (out.front() - out.back()).norm() <= least) out.pop_back();
  return out;
}

}  // namespace

Outline common_polygon(const std::vector<HalfPlane>& planes, double extent) {
  Outline polygon = {{-extent, -extent}, {extent, -extent}, {extent, extent}, {-extent, extent}};
  for (const HalfPlane& plane : planes) polygon = clipped(polygon, plane);
  polygon = without_tiny_edges(polygon, 1e-6);
  return polygon.size() < 3 ? Outline{} : polygon;
}

Outline grown_convex(const Outline& polygon, double radius, double step) {
  Outline out;
  const std::size_t n = polygon.size();
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d &before = polygon[(i + n - 1) % n], &p = polygon[i], &after = polygon[(i + 1) % n];
    const Vector2d n0 = right_of((p - before).normalized()), n1 = right_of((after - p).normalized());
    const double turn = std::atan2(cross(n0, n1), n0.dot(n1));
    const int arcs = std::max(1, static_cast<int>(std::ceil(turn * radius / step)));
    const double a0 = std::atan2(n0.y(), n0.x());
    for (int k = 0; k <= arcs; ++k) {
      const double a = a0 + turn * k / arcs;
      out.push_back(p + radius * Vector2d(std::cos(a), std::sin(a)));
    }
    const double length = (after - p).norm();
    const int parts = std::max(1, static_cast<int>(std::ceil(length / step)));
    for (int k = 1; k < parts; ++k) out.push_back(p + radius * n1 + (after - p) * k / parts);
  }
  return without_tiny_edges(out, 1e-3);
}

double signed_area(const Outline& outline) {
  double twice = 0;
  for (std::size_t i = 0; i < outline.size(); ++i)
    twice += cross(outline[i], outline[(i + 1) % outline.size()]);
  return 0.5 * twice;
}

Vector2d area_centroid(const Outline& outline) {
  Vector2d sum = Vector2d::Zero();
  double twice = 0;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Vector2d a = outline[i] - outline[0], b = outline[(i + 1) % outline.size()] - outline[0];
    sum += cross(a, b) * (a + b);
    twice += cross(a, b);
  }
  return outline[0] + sum / (3 * twice);
}

double perimeter(const Outline& outline) {
  double sum = 0;
  for (std::size_t i = 0; i < outline.size(); ++i)
    sum += (outline[(i + 1) % outline.size()] - outline[i]).norm();
  return sum;
}

std::vector<Vector2d> point_normals(const Outline& outline) {
  const std::size_t n = outline.size();
  std::vector<Vector2d> normals(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d n0 = right_of((outline[i] - outline[(i + n - 1) % n]).normalized());
    const Vector2d n1 = right_of((outline[(i + 1) % n] - outline[i]).normalized());
    normals[i] = (n0 + n1).normalized();
  }
  return normals;
}

Outline offset_points(const Outline& outline, double distance) {
  return offset_points(outline, std::vector<double>(outline.size(), distance));
}

Outline offset_points(const Outline& outline, const std::vector<double>& distances) {
  const std::size_t n = outline.size();
  const std::vector<Vector2d> normals = point_normals(outline);
  Outline out(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2d edge = right_of((outline[(i + 1) % n] - outline[i]).normalized());
    out[i] = outline[i] + distances[i] / normals[i].dot(edge) * normals[i];
  }
  return out;
}

std::vector<double> wave_along(const Outline& outline, double amplitude, int most, std::uint64_t seed) {
  Random random(seed);
  const double length = perimeter(outline);
  struct Wave {
    double cycles, phase, size;
  };
  std::vector<Wave> waves;
  for (int cycles = 1; cycles <= most; ++cycles) {
    waves.push_back({static_cast<double>(cycles), random.between(0, 2 * std::numbers::pi),
                     amplitude * random.normal() * std::sqrt(2.0 / most)});
  }
  std::vector<double> out;
  double s = 0;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    double height = 0;
    for (const Wave& w : waves)
      height += w.size * std::cos(2 * std::numbers::pi * w.cycles * s / length + w.phase);
    out.push_back(height);
    s += (outline[(i + 1) % outline.size()] - outline[i]).norm();
  }
  return out;
}

Outline with_wavy_edge(const Outline& outline, double amplitude, std::uint64_t seed) {
  if (amplitude <= 0) return outline;
  // Wavelengths from the whole way round down to about 15 mm.
  const int most = std::max(2, static_cast<int>(perimeter(outline) / 15));
  const std::vector<double> shifts = wave_along(outline, amplitude, most, seed);
  const std::vector<Vector2d> normals = point_normals(outline);
  Outline out = outline;
  for (std::size_t i = 0; i < outline.size(); ++i) out[i] += shifts[i] * normals[i];
  return out;
}

bool inside(const Outline& outline, const Vector2d& p) {
  bool in = false;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const Vector2d &a = outline[i], &b = outline[j];
    if ((a.y() > p.y()) != (b.y() > p.y()) &&
        p.x() < (b.x() - a.x()) * (p.y() - a.y()) / (b.y() - a.y()) + a.x()) {
      in = !in;
    }
  }
  return in;
}

}  // namespace interstice::renderer
