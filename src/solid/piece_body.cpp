#include "solid/piece_body.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "solid/triangle.h"

namespace interstice::solid {
namespace {

using Eigen::Vector3d;

double from_segment(const Vector3d& a, const Vector3d& b, const Vector3d& p) {
  return (a + along_segment(p, a, b) * (b - a) - p).norm();
}

bool inside_body(const PieceBody& body, const Vector3d& p) {
  const double depth = -body.face.frame.height(body.root[0]), h = -body.face.frame.height(p);
  if (h < 0 || h > depth) return false;
  geometry::Polygon section;
  for (std::size_t i = 0; i < body.arris.size(); ++i) {
    section.push_back(body.face.frame.drop(body.arris[i] + h / depth * (body.root[i] - body.arris[i])));
  }
  return geometry::contains(section, body.face.frame.drop(p));
}

// Walls of `b` near p: their indices, so that one search serves neighbouring points.
std::vector<std::size_t> walls_near(const PieceBody& b, const Vector3d& centre, double radius) {
  std::vector<std::size_t> near;
  for (std::size_t j = 0; j < b.arris.size(); ++j) {
    const double reach =
        (b.arris[j] - b.root[j]).norm() + (b.arris[(j + 1) % b.arris.size()] - b.arris[j]).norm();
    if ((b.arris[j] - centre).norm() < radius + reach) near.push_back(j);
  }
  return near;
}

std::vector<MouthPoint> nearest_body_points(const std::vector<Vector3d>& points, const PieceBody& b,
                                            double reach) {
  std::vector<MouthPoint> found;
  std::vector<Vector3d> close;
  std::vector<double> along;
  const std::size_t count = points.size();
  for (std::size_t i = 0; i < count; ++i) {
    const Vector3d& p = points[i];
    if ((p - b.middle).norm() >= b.radius_mm + reach) continue;
    close.push_back(p);
    along.push_back(((points[(i + 1) % count] - p).norm() + (p - points[(i + count - 1) % count]).norm()) /
                    2);
  }
  if (close.empty()) return found;
  Vector3d centre = Vector3d::Zero();
  for (const Vector3d& p : close) centre += p / static_cast<double>(close.size());
  double radius = 0;
  for (const Vector3d& p : close) radius = std::max(radius, (p - centre).norm());
  const std::vector<std::size_t> walls = walls_near(b, centre, radius + reach);
  const std::size_t n = b.arris.size();
  for (std::size_t i = 0; i < close.size(); ++i) {
    const Vector3d& p = close[i];
    MouthPoint m{p, p, std::numeric_limits<double>::infinity(), false, along[i]};
    for (const std::size_t j : walls) {
      const std::size_t k = (j + 1) % n;
      const double edge = std::max((b.arris[k] - b.arris[j]).norm(), (b.root[k] - b.root[j]).norm());
      if (from_segment(b.arris[j], b.root[j], p) > m.width_mm + edge) continue;
      for (const OnTriangle& q : {nearest_on_triangle(p, b.arris[j], b.arris[k], b.root[k]),
                                  nearest_on_triangle(p, b.arris[j], b.root[k], b.root[j])}) {
        const double d = std::sqrt(q.squared);
        if (d < m.width_mm) m.width_mm = d, m.on_body = q.point;
      }
    }
    if (m.width_mm > reach) continue;
    m.inside = inside_body(b, p);
    found.push_back(m);
  }
  return found;
}

}  // namespace

PieceBody planned_body(const plan::Plan& plan, geometry::TileIndex tile) {
  PieceBody body;
  body.face = plan::planned_face(plan, tile);
  const geometry::PlaneFrame& frame = body.face.frame;
  geometry::Polygon root;
  for (const Eigen::Vector2d& uv : plan.tiles[tile].outline)
    root.push_back(frame.drop(plan.profile.point(uv)));
  const double t = plan.tile_thickness_mm;
  for (const Eigen::Vector2d& p : geometry::resampled(root, 0.5))
    body.root.push_back(frame.lift(p) - t * frame.normal);
  body.middle.setZero();
  for (const Eigen::Vector2d& p : body.face.outline) body.arris.push_back(frame.lift(p));
  for (const Vector3d& p : body.arris) body.middle += p / static_cast<double>(body.arris.size());
  for (const auto* line : {&body.arris, &body.root}) {
    for (const Vector3d& p : *line) body.radius_mm = std::max(body.radius_mm, (p - body.middle).norm());
  }
  return body;
}

std::vector<PieceBody> planned_bodies(const plan::Plan& plan) {
  std::vector<PieceBody> bodies;
  for (std::size_t i = 0; i < plan.tiles.size(); ++i)
    bodies.push_back(planned_body(plan, geometry::TileIndex(i)));
  return bodies;
}

std::vector<MouthPoint> mouth_points(const PieceBody& a, const PieceBody& b, double reach_mm) {
  return nearest_body_points(a.arris, b, reach_mm);
}

std::vector<PlannedSeam> planned_seams(const std::vector<PieceBody>& bodies, double reach_mm,
                                       double min_length_mm) {
  std::vector<PlannedSeam> seams;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    const PieceBody& a = bodies[i];
    for (std::size_t j = i + 1; j < bodies.size(); ++j) {
      const PieceBody& b = bodies[j];
      if ((a.middle - b.middle).norm() > a.radius_mm + b.radius_mm + reach_mm) continue;
      const std::vector<MouthPoint> ab = mouth_points(a, b, reach_mm), ba = mouth_points(b, a, reach_mm);
      PlannedSeam seam{geometry::TileIndex(i), geometry::TileIndex(j), reach_mm, reach_mm, 0, 0, {}};
      for (const MouthPoint& m : ab) seam.length_mm += m.along_mm;
      if (seam.length_mm < min_length_mm) continue;
      std::vector<double> widths;
      for (const auto* points : {&ab, &ba}) {
        for (const MouthPoint& m : *points) {
          const double width = m.inside ? -m.width_mm : m.width_mm;
          widths.push_back(width);
          if (width < seam.mouth_mm) seam.mouth_mm = width, seam.at = (m.on_arris + m.on_body) / 2;
        }
      }
      std::sort(widths.begin(), widths.end());
      seam.middle_mm = widths[widths.size() / 2];
      seam.throat_mm = seam.mouth_mm;
      for (const auto& [from, to] : {std::pair(&a, &b), std::pair(&b, &a)}) {
        for (const MouthPoint& m : nearest_body_points(from->root, *to, std::max(0.0, seam.throat_mm))) {
          seam.throat_mm = std::min(seam.throat_mm, m.inside ? -m.width_mm : m.width_mm);
        }
      }
      seams.push_back(seam);
    }
  }
  return seams;
}

double even_bevel_deg(const Vector3d& normal_a, const Vector3d& normal_b, const Vector3d& across) {
  const Vector3d up = (normal_a + normal_b).normalized();
  const Vector3d w = (across - across.dot(up) * up).normalized();
  const double a = std::atan2(normal_a.dot(w), normal_a.dot(up)),
               b = std::atan2(normal_b.dot(w), normal_b.dot(up));
  return (b - a) / 2 * 180.0 / std::numbers::pi;
}

}  // namespace interstice::solid
