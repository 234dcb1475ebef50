#include "geometry/form_surface.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::geometry {

using Eigen::Vector2d;
using Eigen::Vector3d;

std::vector<Vector2d> surface_line(const Profile& form, const Vector2d& from, const Vector2d& to,
                                   double step_mm) {
  const Vector3d a = form.point(from), b = form.point(to);
  const int n = std::max(1, static_cast<int>(std::ceil((b - a).norm() / step_mm)));
  std::vector<Vector2d> line{from};
  for (int i = 1; i < n; ++i) line.push_back(form.locate(a + (b - a) * (static_cast<double>(i) / n)).uv);
  line.push_back(to);
  return line;
}

double surface_area(const Profile& form, const Polygon& on_map) {
  // Green's theorem: with F(rho) the integral of r d(rho), the area is the closed integral of F d(theta).
  const double step = 0.5;
  double rho_max = 0;
  for (const Vector2d& p : on_map) rho_max = std::max(rho_max, p.norm());
  std::vector<double> table{0};
  for (double rho = 0; rho < rho_max + step; rho += step) {
    const double r0 = form.at(rho).rz.x(), r1 = form.at(rho + step / 2).rz.x(),
                 r2 = form.at(rho + step).rz.x();
    table.push_back(table.back() + step / 6 * (r0 + 4 * r1 + r2));
  }
  const auto integral = [&](double rho) {
    const double x = rho / step;
    const auto i = std::min(static_cast<std::size_t>(x), table.size() - 2);
    const double f = x - static_cast<double>(i);
    return table[i] + f * (table[i + 1] - table[i]);
  };
  double area = 0;
  for (std::size_t i = 0; i < on_map.size(); ++i) {
    const Vector2d& a = on_map[i];
    const Vector2d d = on_map[(i + 1) % on_map.size()] - a;
    const int n = std::max(1, static_cast<int>(std::ceil(d.norm() / 1.0)));
    for (int k = 0; k < n; ++k) {
      const Vector2d m = a + d * ((k + 0.5) / n);
      const double rho = m.norm();
      if (rho < 1e-9) continue;
      const double turn = (m.x() * d.y() - m.y() * d.x()) / (rho * rho) / n;
      area += integral(rho) * turn;
    }
  }
  return area;
}

double surface_area(const Profile& form) {
  const double length = form.length();
  const int n = 2000;
  double sum = 0;
  for (int i = 0; i < n; ++i) {
    const double a = length * i / n, b = length * (i + 1) / n;
    sum += (b - a) / 6 * (form.at(a).rz.x() + 4 * form.at((a + b) / 2).rz.x() + form.at(b).rz.x());
  }
  return 2 * std::numbers::pi * sum;
}

}  // namespace interstice::geometry
