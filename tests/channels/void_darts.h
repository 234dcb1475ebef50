// The volume between form and outer faces of a scan's true pieces by throwing darts, with code of its own:
// sections of each piece as polygons, winding numbers, angles to outline points; nothing of the program's
// grid or its tables. For tests only.
#pragma once

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <utility>
#include <vector>

#include "rework/truth_pieces.h"

namespace interstice::testing {

// A truth gives each piece's widest outline, which lies below the outer face because the arris is broken, and
// does not say how far below. Pieces are cut from stock of the plan's thickness and none sinks into the form,
// so the lowest lying piece tells: its outline's plane comes nearer to the form than the stock is thick by
// just that much (0.30 mm on plover; never less than what it is where a film of glue lies under every piece).
inline double broken_arris_mm(const TrueShell& shell) {
  double nearest = shell.plan.tile_thickness_mm;
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    const auto& piece = shell.pieces[geometry::TileIndex(i)];
    if (!piece) continue;
    for (int x = -12; x <= 12; ++x) {
      for (int y = -12; y <= 12; ++y) {
        const Eigen::Vector3d p = piece->face.lift({0.5 * x, 0.5 * y});
        nearest = std::min(nearest, shell.plan.profile.locate(p).height);
      }
    }
  }
  return shell.plan.tile_thickness_mm - nearest;
}

inline bool inside_polygon(const std::vector<Eigen::Vector2d>& polygon, const Eigen::Vector2d& p) {
  double turned = 0;
  for (std::size_t i = 0; i < polygon.size(); ++i) {
    const Eigen::Vector2d a = polygon[i] - p, b = polygon[(i + 1) % polygon.size()] - p;
    turned += std::atan2(a.x() * b.y() - a.y() * b.x(), a.dot(b));
  }
  return std::abs(turned) > std::numbers::pi;
}

class Darts {
 public:
  // face_above_mm: the outer faces over the planes of the given outlines.
  Darts(const TrueShell& shell, double reach_mm, double face_above_mm)
      : shell_(shell), form_(shell.plan.profile), reach_(reach_mm), above_(face_above_mm) {
    for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
      if (const auto& piece = shell.pieces[geometry::TileIndex(i)]) {
        Piece p{*piece, Eigen::Vector3d::Zero(), 0, {}, {}};
        for (const Eigen::Vector3d& q : piece->arris)
          p.middle += q / static_cast<double>(piece->arris.size());
        for (const Eigen::Vector3d& q : piece->arris) p.radius = std::max(p.radius, (q - p.middle).norm());
        for (const Eigen::Vector3d& q : piece->arris) p.outline.push_back(piece->face.drop(q));
        for (const Eigen::Vector3d& q : piece->arris) p.height.push_back(form_.locate(q).height);
        pieces_.push_back(std::move(p));
      }
    }
  }

  // Volume and its standard error, mm^3.
  std::pair<double, double> volume(int darts, unsigned seed) const {
    std::mt19937_64 random(seed);
    double rho_max = 0, h_max = 0;
    for (const Piece& p : pieces_) {
      for (std::size_t k = 0; k < p.height.size(); ++k) {
        rho_max = std::max(rho_max, form_.locate(p.solid.arris[k]).uv.norm());
        h_max = std::max(h_max, p.height[k] + above_);
      }
    }
    std::uniform_real_distribution<double> unit(0, 1);
    double sum = 0, squares = 0;
    for (int k = 0; k < darts; ++k) {
      const double rho = rho_max * std::sqrt(unit(random)), theta = 2 * std::numbers::pi * unit(random),
                   h = h_max * unit(random);
      const Eigen::Vector2d uv(rho * std::cos(theta), rho * std::sin(theta));
      const double value = is_void(uv, h) ? stretch(uv, h) : 0;
      sum += value;
      squares += value * value;
    }
    const double all = std::numbers::pi * rho_max * rho_max * h_max, n = darts;
    const double mean = sum / n;
    return {all * mean, all * std::sqrt((squares / n - mean * mean) / n)};
  }

 private:
  struct Piece {
    solid::PieceSolid solid;
    Eigen::Vector3d middle;
    double radius;
    std::vector<Eigen::Vector2d> outline;
    std::vector<double> height;
  };

  double stretch(const Eigen::Vector2d& uv, double h) const {  // volume of the map's unit box, by differences
    const double d = 1e-3;
    const Eigen::Vector3d du =
        (form_.point(uv + Eigen::Vector2d(d, 0), h) - form_.point(uv - Eigen::Vector2d(d, 0), h)) / (2 * d);
    const Eigen::Vector3d dv =
        (form_.point(uv + Eigen::Vector2d(0, d), h) - form_.point(uv - Eigen::Vector2d(0, d), h)) / (2 * d);
    return std::abs(du.cross(dv).dot(form_.normal(uv)));
  }

  // The piece's outline at a depth below its face, sliding from arris to root; the root's end is its
  // underside.
  std::vector<Eigen::Vector2d> section(const Piece& p, double depth) const {
    std::vector<Eigen::Vector2d> out;
    for (std::size_t k = 0; k < p.outline.size(); ++k) {
      const double whole = -p.solid.face.height(p.solid.root[k]);
      const double t = whole > 1e-6 ? std::min(depth, shell_.plan.tile_thickness_mm) / whole : 0;
      out.push_back(p.outline[k] + t * (p.solid.face.drop(p.solid.root[k]) - p.outline[k]));
    }
    return out;
  }

  bool is_void(const Eigen::Vector2d& uv, double h) const {
    const Eigen::Vector3d p = form_.point(uv, h), base = form_.point(uv), n = form_.normal(uv);
    double top = 0, weight = 0;
    bool covered = false, under = false;
    std::vector<double> angles;
    const Eigen::Vector3d e1 = n.unitOrthogonal(), e2 = n.cross(e1);
    for (const Piece& piece : pieces_) {
      if ((p - piece.middle).norm() > piece.radius + 30) continue;
      const geometry::PlaneFrame& face = piece.solid.face;
      const double lean = n.dot(face.normal);
      if (lean < 0.2) continue;
      const double h_face = -face.height(base) / lean;
      const Eigen::Vector2d on_face = face.drop(base + h_face * n);
      if (!covered && inside_polygon(piece.outline, on_face)) {
        covered = true;
        top = h_face + above_ / lean, weight = 1;
      }
      double nearest = 1e9, height = 0;
      for (std::size_t k = 0; k < piece.outline.size(); ++k) {
        const Eigen::Vector2d a = piece.outline[k], d = piece.outline[(k + 1) % piece.outline.size()] - a;
        const double t = std::clamp((on_face - a).dot(d) / d.squaredNorm(), 0.0, 1.0);
        const double distance = (a + t * d - on_face).norm();
        if (distance < nearest) {
          nearest = distance;
          height = above_ + (1 - t) * piece.height[k] + t * piece.height[(k + 1) % piece.height.size()];
        }
      }
      if (!covered && nearest < 9) top += height / nearest, weight += 1 / nearest;
      const double depth = std::max(0.0, -face.height(p));
      const std::vector<Eigen::Vector2d> wood = section(piece, depth);
      if (inside_polygon(wood, face.drop(p))) {
        if (above_ - face.height(p) <= shell_.plan.tile_thickness_mm) return false;
        under = true;
      }
      const double reach = reach_ + 2 * std::tan(shell_.plan.bevel_deg * std::numbers::pi / 180) * depth + 1;
      for (const Eigen::Vector2d& q : wood) {
        const Eigen::Vector3d to = face.lift(q) - depth * face.normal - p;
        const Eigen::Vector2d flat(to.dot(e1), to.dot(e2));
        if (flat.norm() < reach) angles.push_back(std::atan2(flat.y(), flat.x()));
      }
    }
    if (under) return true;
    if (weight == 0 || h > top / weight || angles.size() < 2) return false;
    std::sort(angles.begin(), angles.end());
    double gap = angles.front() + 2 * std::numbers::pi - angles.back();
    for (std::size_t k = 1; k < angles.size(); ++k) gap = std::max(gap, angles[k] - angles[k - 1]);
    return gap < std::numbers::pi;
  }

  const TrueShell& shell_;
  const geometry::Profile& form_;
  double reach_, above_;
  std::vector<Piece> pieces_;
};

}  // namespace interstice::testing
