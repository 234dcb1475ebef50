#include "renderer/form.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

Form::Form(const FormOptions& o) : error_scale_(o.error_mm) {
  const int n = 2000;
  const double p = o.fullness, b = o.height_mm / (1 - o.cut);
  const double a = o.rim_radius_mm / std::pow(1 - std::pow(o.cut, p), 1 / p);
  // The angle walks along the curve evenly enough for p = 2 and a little either side of it.
  const double last = std::acos(std::pow(o.cut, p / 2));
  for (int i = 0; i <= n; ++i) {
    const double angle = last * i / n;
    const double s = std::pow(std::sin(angle), 2 / p), c = std::pow(std::max(0.0, std::cos(angle)), 2 / p);
    rz_.emplace_back(i == 0 ? 0.0 : a * s, i == n ? 0.0 : b * (c - o.cut));
  }
  arc_.assign(rz_.size(), 0.0);
  for (std::size_t i = 1; i < rz_.size(); ++i) arc_[i] = arc_[i - 1] + (rz_[i] - rz_[i - 1]).norm();
  const int steps = 720;
  std::size_t at = 0;
  for (int k = 0; k <= steps; ++k) {
    const double angle = 0.5 * std::numbers::pi * k / steps;
    while (at + 1 < rz_.size() && std::atan2(rz_[at + 1].x(), rz_[at + 1].y()) <= angle) ++at;
    const std::size_t next = std::min(at + 1, rz_.size() - 1);
    const double a0 = std::atan2(rz_[at].x(), rz_[at].y()), a1 = std::atan2(rz_[next].x(), rz_[next].y());
    const double t = a1 > a0 ? (angle - a0) / (a1 - a0) : 0;
    arc_by_angle_.push_back(arc_[at] + t * (arc_[next] - arc_[at]));
  }
}

Vector2d Form::rim_tangent() const {
  return (rz_.back() - rz_[rz_.size() - 2]).normalized();
}

Vector2d Form::meridian(double rho) const {
  if (rho >= arc_.back()) return rz_.back() + (rho - arc_.back()) * rim_tangent();
  const auto it = std::upper_bound(arc_.begin(), arc_.end(), std::max(0.0, rho));
  const auto i = static_cast<std::size_t>(it - arc_.begin());
  const double t = (rho - arc_[i - 1]) / (arc_[i] - arc_[i - 1]);
  return rz_[i - 1] + t * (rz_[i] - rz_[i - 1]);
}

Vector2d Form::meridian_normal(double rho) const {
  if (rho >= arc_.back()) return {-rim_tangent().y(), rim_tangent().x()};
  const double h = 0.2;
  const Vector2d a = rho < h ? Vector2d(meridian(h - rho).cwiseProduct(Vector2d(-1, 1))) : meridian(rho - h);
  const Vector2d d = (meridian(rho + h) - a).normalized();
  return {-d.y(), d.x()};
}

double Form::error_mm(double rho) const {
  // Two and a half slow waves along the meridian, nought at neither end: what a turner's template lets
  // through.
  const double s = rho / arc_.back();
  return error_scale_ *
         (0.6 * std::cos(2.2 * std::numbers::pi * s + 0.7) + 0.4 * std::sin(3.7 * std::numbers::pi * s));
}

Vector3d Form::point(const Vector2d& uv, double height) const {
  const double rho = uv.norm();
  const Vector2d e = rho > 1e-12 ? Vector2d(uv / rho) : Vector2d(1, 0);
  const Vector2d q = meridian(rho) + height * meridian_normal(rho);
  return {q.x() * e.x(), q.x() * e.y(), q.y()};
}

Frame Form::frame(const Vector2d& uv, double height) const {
  const double rho = uv.norm();
  const Vector2d e = rho > 1e-9 ? Vector2d(uv / rho) : Vector2d(0, -1);  // at the pole x and y are the bowl's
  const Vector2d n = meridian_normal(rho);
  Frame f;
  f.origin = point(uv, height);
  f.axes.col(2) = Vector3d(n.x() * e.x(), n.x() * e.y(), n.y());
  f.axes.col(0) = Vector3d(-e.y(), e.x(), 0);
  f.axes.col(1) = f.axes.col(2).cross(f.axes.col(0));
  return f;
}

Vector2d Form::locate(const Vector3d& p) const {
  const double r = p.head<2>().norm();
  const Vector2d q(r, p.z());
  // Every so manieth point first, then the segments round the nearest of them: the meridian is one smooth
  // bend.
  const std::size_t stride = 20;
  std::size_t middle = 0;
  for (std::size_t i = 0; i < rz_.size(); i += stride) {
    if ((rz_[i] - q).squaredNorm() < (rz_[middle] - q).squaredNorm()) middle = i;
  }
  double best = std::numeric_limits<double>::infinity(), rho = 0;
  const std::size_t first = middle > stride ? middle - stride : 0,
                    end = std::min(rz_.size() - 1, middle + stride);
  for (std::size_t i = first; i < end; ++i) {
    const Vector2d d = rz_[i + 1] - rz_[i];
    const double t = std::clamp((q - rz_[i]).dot(d) / d.squaredNorm(), 0.0, 1.0);
    const double distance = (rz_[i] + t * d - q).squaredNorm();
    if (distance < best) {
      best = distance;
      rho = arc_[i] + t * (arc_[i + 1] - arc_[i]);
    }
  }
  if (rho >= arc_.back() - 1e-9) rho += std::max(0.0, (q - rz_.back()).dot(rim_tangent()));
  return r > 1e-12 ? Vector2d(rho * p.head<2>() / r) : Vector2d(rho, 0);
}

Vector2d Form::locate_near(const Vector3d& p) const {
  const double r = p.head<2>().norm();
  if (r < 1e-9) return Vector2d::Zero();
  const double last = static_cast<double>(arc_by_angle_.size() - 1);
  const double at = std::clamp(std::atan2(r, p.z()) / (0.5 * std::numbers::pi) * last, 0.0, last);
  const auto i = std::min(static_cast<std::size_t>(at), arc_by_angle_.size() - 2);
  const double rho =
      arc_by_angle_[i] + (at - static_cast<double>(i)) * (arc_by_angle_[i + 1] - arc_by_angle_[i]);
  return rho / r * p.head<2>();
}

Vector2d Form::project(const Vector3d& p, const Vector3d& d) const {
  // Newton along the line on the height over the form; the line is near the normal, so it converges at once.
  double s = 0;
  Vector2d uv;
  for (int k = 0; k < 12; ++k) {
    const Vector3d q = p + s * d;
    uv = locate(q);
    const Frame f = frame(uv, 0);
    const double height = (q - f.origin).dot(f.axes.col(2));
    const double step = -height / d.dot(f.axes.col(2));
    s += step;
    if (std::abs(step) < 1e-7) break;
  }
  return uv;
}

std::vector<Vector2d> Form::drawing(int count) const {
  std::vector<Vector2d> out;
  for (int i = 0; i < count; ++i) out.push_back(meridian(length_mm() * i / (count - 1)));
  out.front().x() = 0;
  return out;
}

}  // namespace interstice::renderer
