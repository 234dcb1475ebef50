#include "layout/paper_pose.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

struct Ray {
  Vector3d at, direction;
};

// Straight ahead on the form: chords brought down to it, the direction kept in its tangent plane.
Ray gone_on(const geometry::Profile& form, Ray ray, double length, double step_mm) {
  const int steps = std::max(1, static_cast<int>(std::ceil(length / step_mm)));
  for (int k = 0; k < steps; ++k) {
    const geometry::MapPoint foot = form.locate(ray.at + length / steps * ray.direction);
    const Vector3d normal = form.normal(foot.uv);
    ray.at = form.point(foot.uv);
    ray.direction = (ray.direction - ray.direction.dot(normal) * normal).normalized();
  }
  return ray;
}

}  // namespace

Vector3d outside_normal(const geometry::Profile& form, const Vector3d& on_form) {
  return form.normal(form.locate(on_form).uv);
}

PaperPose paper_pose(const geometry::Profile& form, const Vector2d& uv, double turn) {
  return {form.point(uv), std::cos(turn) * form.along_ring(uv) + std::sin(turn) * form.towards_pole(uv)};
}

PaperPose moved(const geometry::Profile& form, const PaperPose& pose, const Vector3d& x_y_turn) {
  const Vector3d normal = outside_normal(form, pose.at), up = normal.cross(pose.across);
  const Vector3d way = x_y_turn.x() * pose.across + x_y_turn.y() * up;
  PaperPose out = pose;
  Vector3d n = normal;
  if (way.norm() > 1e-12) {
    const Ray ray = gone_on(form, {pose.at, way.normalized()}, way.norm(), 2.0);
    out.at = ray.at;
    n = outside_normal(form, ray.at);
    // The paper keeps its angle to the way it goes.
    const double angle = std::atan2(x_y_turn.y(), x_y_turn.x());
    out.across = Eigen::AngleAxisd(-angle, n) * ray.direction;
  }
  out.across = Eigen::AngleAxisd(x_y_turn.z(), n) * out.across;
  out.across = (out.across - out.across.dot(n) * n).normalized();
  return out;
}

double mean_square_radius(const geometry::Polygon& outline) {
  // Second moments of triangles from the origin: |a|^2 + a.b + |b|^2 over 6 times their area.
  double area = 0, moment = 0;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Vector2d a = outline[i], b = outline[(i + 1) % outline.size()];
    const double twice = a.x() * b.y() - a.y() * b.x();
    area += twice / 2;
    moment += twice / 12 * (a.squaredNorm() + a.dot(b) + b.squaredNorm());
  }
  return area > 0 ? moment / area : 0;
}

double gaussian_curvature(const geometry::Profile& form, double rho) {
  const double h = 5, from = std::max(0.0, rho - h), to = rho + h;
  const Vector2d a = form.at(from).tangent, b = form.at(to).tangent;
  const double along = -(a.x() * b.y() - a.y() * b.x()) / (to - from);
  const geometry::MeridianPoint m = form.at(std::max(rho, h));  // near the pole both are alike
  return along * m.normal.x() / std::max(1.0, m.rz.x());
}

Vector3d laid_on(const geometry::Profile& form, const PaperPose& pose, double mean_square,
                 const Vector2d& place, double step_mm) {
  const double s = place.norm();
  if (s < 1e-9) return pose.at;
  const geometry::MapPoint middle = form.locate(pose.at);
  const Vector3d up = form.normal(middle.uv).cross(pose.across);
  const double k = gaussian_curvature(form, middle.uv.norm());
  const double length = s * (1 + k * (mean_square / 8 - s * s / 48));
  const Vector3d direction = (place.x() * pose.across + place.y() * up) / s;
  return gone_on(form, {pose.at, direction}, length, step_mm).at;
}

}  // namespace interstice::layout
