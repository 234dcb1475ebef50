#include "solid/triangle.h"

#include <Eigen/Geometry>
#include <algorithm>

namespace interstice::solid {

using Eigen::Vector3d;

namespace {

OnTriangle on_edge(const Vector3d& p, const Vector3d& from, const Vector3d& to, double b0, double c0,
                   double b1, double c1) {
  const double t = along_segment(p, from, to);
  const Vector3d q = from + t * (to - from);
  return {q, (p - q).squaredNorm(), b0 + t * (b1 - b0), c0 + t * (c1 - c0)};
}

}  // namespace

double along_segment(const Vector3d& p, const Vector3d& from, const Vector3d& to) {
  const Vector3d d = to - from;
  const double len2 = d.squaredNorm();
  return len2 > 0 ? std::clamp((p - from).dot(d) / len2, 0.0, 1.0) : 0.0;
}

OnTriangle nearest_on_triangle(const Vector3d& p, const Vector3d& x, const Vector3d& y, const Vector3d& z) {
  const Vector3d e = y - x, f = z - x, d = p - x;
  const double ee = e.dot(e), ef = e.dot(f), ff = f.dot(f), de = d.dot(e), df = d.dot(f);
  const double det = ee * ff - ef * ef;
  if (det > 1e-12 * ee * ff) {
    const double b = (ff * de - ef * df) / det, c = (ee * df - ef * de) / det;
    if (b >= 0 && c >= 0 && b + c <= 1) {
      const Vector3d q = x + b * e + c * f;
      return {q, (p - q).squaredNorm(), b, c};
    }
  }
  OnTriangle best = on_edge(p, x, y, 0, 0, 1, 0);
  for (const OnTriangle& edge : {on_edge(p, y, z, 1, 0, 0, 1), on_edge(p, z, x, 0, 1, 0, 0)}) {
    if (edge.squared < best.squared) best = edge;
  }
  return best;
}

}  // namespace interstice::solid
