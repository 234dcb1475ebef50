// Pieces put in place in 3-D and their mouths measured, a second time: only the values of a plan (profile
// points, outlines, thickness, bevel) are used, none of the code that plans or measures.
//
// Model. The meridian is a natural cubic spline through its points, mirrored at the axis. A piece's root is
// its footprint seen along the form's normal at the footprint's centre, carried out to the thickness. A
// section of the piece h below its face is every point within g (1 - h / t) of the root, g = t tan(bevel).
// For such a solid the distance from any point (x in the plane, h below the face) is that of a point from a
// wall drawn in the half-plane (distance of x from the root, h), because the nearest point of a set grown by
// s is always s nearer.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <set>
#include <string>
#include <vector>

#include "plan/plan.h"

namespace interstice::independent {

struct Flat {
  double x, y;
};
struct Space {
  double x, y, z;
};
inline Space operator+(Space a, Space b) {
  return {a.x + b.x, a.y + b.y, a.z + b.z};
}
inline Space operator-(Space a, Space b) {
  return {a.x - b.x, a.y - b.y, a.z - b.z};
}
inline Space operator*(double s, Space a) {
  return {s * a.x, s * a.y, s * a.z};
}
inline double dot(Space a, Space b) {
  return a.x * b.x + a.y * b.y + a.z * b.z;
}
inline Space cross(Space a, Space b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
inline double size_of(Space a) {
  return std::sqrt(dot(a, a));
}

// Second derivatives of a natural cubic spline (tridiagonal system solved by elimination).
inline std::vector<double> spline_bends(const std::vector<double>& s, const std::vector<double>& f) {
  const std::size_t n = s.size();
  std::vector<double> bend(n, 0), upper(n, 0), right(n, 0);
  for (std::size_t i = 1; i + 1 < n; ++i) {
    const double a = s[i] - s[i - 1], b = s[i + 1] - s[i];
    const double pivot = 2 * (a + b) - a * upper[i - 1];
    upper[i] = b / pivot;
    right[i] = (6 * ((f[i + 1] - f[i]) / b - (f[i] - f[i - 1]) / a) - a * right[i - 1]) / pivot;
  }
  for (std::size_t i = n - 1; i-- > 1;) bend[i] = right[i] - upper[i] * bend[i + 1];
  return bend;
}

class Meridian {
 public:
  explicit Meridian(const std::vector<Eigen::Vector2d>& points) {
    std::vector<double> s, r, z;
    const auto add = [&](double rr, double zz) {
      s.push_back(s.empty() ? 0 : s.back() + std::hypot(rr - r.back(), zz - z.back()));
      r.push_back(rr), z.push_back(zz);
    };
    const std::size_t mirrored = std::min<std::size_t>(points.size() - 1, 12);
    for (std::size_t i = mirrored; i > 0; --i) add(-points[i].x(), points[i].y());
    for (const auto& p : points) add(p.x(), p.y());
    const std::vector<double> r2 = spline_bends(s, r), z2 = spline_bends(s, z);
    constexpr int kParts = 100;
    for (std::size_t i = mirrored; i + 1 < s.size(); ++i) {
      const double h = s[i + 1] - s[i];
      for (int k = 0; k < kParts || (k == kParts && i + 2 == s.size()); ++k) {
        const double b = static_cast<double>(k) / kParts, a = 1 - b;
        const auto at = [&](const std::vector<double>& f, const std::vector<double>& f2) {
          return a * f[i] + b * f[i + 1] +
                 ((a * a * a - a) * f2[i] + (b * b * b - b) * f2[i + 1]) * h * h / 6;
        };
        const double rr = at(r, r2), zz = at(z, z2);
        rho_.push_back(rho_.empty() ? 0 : rho_.back() + std::hypot(rr - r_.back(), zz - z_.back()));
        r_.push_back(rr), z_.push_back(zz);
      }
    }
  }

  // r, z, and the meridian's direction, at an arc length from the pole; straight on past the rim.
  std::array<double, 4> at(double rho) const {
    const auto it = std::upper_bound(rho_.begin(), rho_.end(), rho);
    const std::size_t i =
        std::clamp<std::size_t>(static_cast<std::size_t>(it - rho_.begin()), 1, rho_.size() - 1);
    const double f = (rho - rho_[i - 1]) / (rho_[i] - rho_[i - 1]);
    const auto direction = [&](std::size_t k) {
      const std::size_t before = k > 0 ? k - 1 : 0, after = std::min(k + 1, r_.size() - 1);
      const double l = std::hypot(r_[after] - r_[before], z_[after] - z_[before]);
      return std::pair((r_[after] - r_[before]) / l, (z_[after] - z_[before]) / l);
    };
    const auto [r0, z0] = direction(i - 1);
    const auto [r1, z1] = direction(i);
    const double g = std::clamp(f, 0.0, 1.0);
    return {r_[i - 1] + f * (r_[i] - r_[i - 1]), z_[i - 1] + f * (z_[i] - z_[i - 1]), r0 + g * (r1 - r0),
            z0 + g * (z1 - z0)};
  }

 private:
  std::vector<double> rho_, r_, z_;
};

inline Space on_form(const Meridian& m, Flat uv) {
  const double rho = std::hypot(uv.x, uv.y);
  const auto [r, z, dr, dz] = m.at(rho);
  if (rho < 1e-9) return {0, 0, z};
  return {r * uv.x / rho, r * uv.y / rho, z};
}

struct Solid {
  std::string label;
  Space origin, right, up, normal;  // of the face
  std::vector<Flat> root;           // in the face's plane
  std::vector<Flat> arris;
  double thickness = 0, growth = 0;

  Space lift(Flat p, double below) const { return origin + p.x * right + p.y * up - below * normal; }
};

inline double area_of(const std::vector<Flat>& p) {
  double sum = 0;
  for (std::size_t i = 0, n = p.size(); i < n; ++i)
    sum += p[i].x * p[(i + 1) % n].y - p[(i + 1) % n].x * p[i].y;
  return sum / 2;
}

// Distance from a polygon's line, negative inside (winding by crossings of a ray).
inline double from_root(const std::vector<Flat>& root, Flat p) {
  double best2 = std::numeric_limits<double>::infinity();
  bool in = false;
  for (std::size_t i = 0, n = root.size(); i < n; ++i) {
    const Flat a = root[i], b = root[(i + 1) % n];
    const double dx = b.x - a.x, dy = b.y - a.y, len2 = dx * dx + dy * dy;
    const double t = len2 > 0 ? std::clamp(((p.x - a.x) * dx + (p.y - a.y) * dy) / len2, 0.0, 1.0) : 0;
    const double ex = a.x + t * dx - p.x, ey = a.y + t * dy - p.y;
    best2 = std::min(best2, ex * ex + ey * ey);
    if ((a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * dx) in = !in;
  }
  return in ? -std::sqrt(best2) : std::sqrt(best2);
}

// The line at distance g round the root: edges moved out, arcs at corners, what lies nearer dropped.
inline std::vector<Flat> grown_line(const std::vector<Flat>& root, double g) {
  std::vector<Flat> line;
  const std::size_t n = root.size();
  for (std::size_t i = 0; i < n; ++i) {
    const Flat a = root[i], b = root[(i + 1) % n], c = root[(i + 2) % n];
    const double along = std::atan2(b.y - a.y, b.x - a.x), next = std::atan2(c.y - b.y, c.x - b.x);
    const double length = std::hypot(b.x - a.x, b.y - a.y);
    const double out = along - std::numbers::pi / 2;
    const int parts = std::max(1, static_cast<int>(std::ceil(length / 0.25)));
    for (int k = 0; k <= parts; ++k) {
      const double t = static_cast<double>(k) / parts;
      line.push_back({a.x + t * (b.x - a.x) + g * std::cos(out), a.y + t * (b.y - a.y) + g * std::sin(out)});
    }
    const double turn = std::remainder(next - along, 2 * std::numbers::pi);
    const int arcs = turn > 0 ? static_cast<int>(std::ceil(turn * g / 0.25)) : 0;
    for (int k = 1; k < arcs; ++k) {
      const double t = out + turn * k / arcs;
      line.push_back({b.x + g * std::cos(t), b.y + g * std::sin(t)});
    }
  }
  std::erase_if(line, [&](Flat p) { return from_root(root, p) < g - 1e-6; });
  return line;
}

inline Solid solid_of(const Meridian& m, const plan::PlannedTile& tile, double thickness, double bevel_deg) {
  Solid s;
  s.label = tile.label, s.thickness = thickness;
  s.growth = thickness * std::tan(bevel_deg * std::numbers::pi / 180);
  double twice = 0, u = 0, v = 0;
  for (std::size_t i = 0, n = tile.outline.size(); i < n; ++i) {
    const auto &a = tile.outline[i], &b = tile.outline[(i + 1) % n];
    const double w = a.x() * b.y() - b.x() * a.y();
    twice += w, u += (a.x() + b.x()) * w / 3, v += (a.y() + b.y()) * w / 3;
  }
  const Flat centre{u / twice, v / twice};
  const double rho = std::hypot(centre.x, centre.y);
  const auto [r, z, dr, dz] = m.at(rho);
  const double cos = rho > 1e-9 ? centre.x / rho : 1, sin = rho > 1e-9 ? centre.y / rho : 0;
  s.normal = {-dz * cos, -dz * sin, dr};
  s.normal = 1 / size_of(s.normal) * s.normal;
  s.right = {-sin, cos, 0};
  s.up = cross(s.normal, s.right);
  s.origin = on_form(m, centre) + thickness * s.normal;
  for (const auto& p : tile.outline) {
    const Space d = on_form(m, {p.x(), p.y()}) - s.origin;
    s.root.push_back({dot(d, s.right), dot(d, s.up)});
  }
  if (area_of(s.root) < 0) std::reverse(s.root.begin(), s.root.end());
  s.arris = grown_line(s.root, s.growth);
  return s;
}

inline std::vector<Solid> solids_of(const plan::Plan& plan) {
  const Meridian m(plan.profile.points());
  std::vector<Solid> solids;
  for (const plan::PlannedTile& tile : plan.tiles)
    solids.push_back(solid_of(m, tile, plan.tile_thickness_mm, plan.bevel_deg));
  return solids;
}

// From a point to a solid; negative inside (the way out through the wall).
inline double distance_to(const Solid& s, Space p) {
  const Space d = p - s.origin;
  const double h = -dot(d, s.normal), x = from_root(s.root, {dot(d, s.right), dot(d, s.up)});
  const double wall = std::hypot(s.growth, s.thickness);
  const double off =
      ((x - s.growth) * s.thickness + h * s.growth) / wall;  // from the wall's line, outside > 0
  if (h >= 0 && h <= s.thickness && off <= 0) return off;
  const double t = std::clamp((h * s.thickness + (s.growth - x) * s.growth) / (wall * wall), 0.0, 1.0);
  double best = std::hypot(x - s.growth * (1 - t), h - t * s.thickness);
  if (x <= s.growth && h < 0) best = std::min(best, -h);                  // over the face
  if (x <= 0 && h > s.thickness) best = std::min(best, h - s.thickness);  // under the back
  return best;
}

struct Mouth {
  std::string a, b;
  double narrowest_mm = 0;
  double length_mm = 0;        // of a's arris within 8 mm of b
  double wall_nearest_mm = 0;  // over points of the walls at three depths; negative: the solids meet
};

inline double radius_of(const Solid& s) {
  double r = 0;
  for (const Flat p : s.arris) r = std::max(r, std::hypot(p.x, p.y));
  return r + s.thickness;
}

// All pairs within 8 mm of each other, over however short a length.
inline std::vector<Mouth> mouths_of(const std::vector<Solid>& solids) {
  constexpr double kReach = 8;
  std::vector<Mouth> mouths;
  for (std::size_t i = 0; i < solids.size(); ++i) {
    for (std::size_t j = i + 1; j < solids.size(); ++j) {
      const Solid &a = solids[i], &b = solids[j];
      if (size_of(a.origin - b.origin) > radius_of(a) + radius_of(b) + kReach) continue;
      Mouth m{a.label, b.label, kReach, 0, kReach};
      for (const auto& [from, to] : {std::pair(&a, &b), std::pair(&b, &a)}) {
        const std::size_t n = from->arris.size();
        for (std::size_t k = 0; k < n; ++k) {
          const Flat p = from->arris[k], q = from->arris[(k + 1) % n];
          const double d = distance_to(*to, from->lift(p, 0));
          m.narrowest_mm = std::min(m.narrowest_mm, d);
          if (d < kReach && from == &a) m.length_mm += std::hypot(q.x - p.x, q.y - p.y);
        }
        if (m.narrowest_mm >= kReach) break;
      }
      if (m.narrowest_mm >= kReach) continue;
      for (const auto& [from, to] : {std::pair(&a, &b), std::pair(&b, &a)}) {
        for (int level = 1; level <= 2; ++level) {
          const double share = level / 2.0;
          for (const Flat p : grown_line(from->root, from->growth * (1 - share))) {
            m.wall_nearest_mm =
                std::min(m.wall_nearest_mm, distance_to(*to, from->lift(p, share * from->thickness)));
          }
        }
      }
      m.wall_nearest_mm = std::min(m.wall_nearest_mm, m.narrowest_mm);
      mouths.push_back(m);
    }
  }
  return mouths;
}

// A seam, as fit.json and the contract count it: 8 mm or nearer over 5 mm or more.
inline bool is_seam(const Mouth& m) {
  return m.length_mm >= 5;
}

}  // namespace interstice::independent
