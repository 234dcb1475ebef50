#include "plan/cell_complex.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice {

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

std::vector<int> rings_from_rim(const CellComplex& complex) {
  std::vector<int> ring(complex.cells.size(), 0);
  for (std::size_t i = 0; i < ring.size(); ++i) ring[i] = complex.on_rim[i] ? 1 : 0;
  bool changed = true;
  for (int level = 1; changed; ++level) {
    changed = false;
    for (const CellSeam& seam : complex.seams) {
      for (const auto& [from, to] : {std::pair(seam.a, seam.b), std::pair(seam.b, seam.a)}) {
        if (ring[from] == level && ring[to] == 0) ring[to] = level + 1, changed = true;
      }
    }
  }
  for (int& r : ring) r = std::max(r, 1);  // a cell without neighbours
  return ring;
}

std::vector<std::string> labels_by_ring(const std::vector<int>& rings, const std::vector<Vector2d>& centres) {
  std::vector<std::string> labels(rings.size());
  const int last = rings.empty() ? 0 : *std::max_element(rings.begin(), rings.end());
  for (int ring = 1; ring <= last; ++ring) {
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t i = 0; i < rings.size(); ++i) {
      if (rings[i] != ring) continue;
      double theta = std::atan2(centres[i].y(), centres[i].x());
      if (theta < 0) theta += 2 * std::numbers::pi;
      order.emplace_back(theta, i);
    }
    std::sort(order.begin(), order.end());
    std::string letters(1, static_cast<char>('A' + (ring - 1) % 26));
    if (ring > 26) letters = static_cast<char>('A' + (ring - 27) / 26) + letters;
    const int digits = order.size() > 99 ? 3 : 2;
    for (std::size_t k = 0; k < order.size(); ++k) {
      std::string number = std::to_string(k + 1);
      number.insert(0, static_cast<std::size_t>(std::max(0, digits - static_cast<int>(number.size()))), '0');
      labels[order[k].second] = letters + number;
    }
  }
  return labels;
}

}  // namespace interstice
