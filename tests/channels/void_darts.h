// The volume between form and outer faces of a scan's true pieces by throwing darts, with code of its own:
// sections of each piece as polygons, winding numbers, angles to outline points; nothing of the program's
// grid or its tables. For tests only.
#pragma once

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
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

  struct Volume {
    double mm3 = 0, error_mm3 = 0;
  };
  struct Volumes {
    Volume between, rim;  // the pieces and under them; the lowest ring and the rim
  };
  Volumes volumes(int darts, unsigned seed) const {
    std::mt19937_64 random(seed);
    double rho_max = 0, h_max = 0;
    for (const Piece& p : pieces_) {
      for (std::size_t k = 0; k < p.height.size(); ++k) {
        rho_max = std::max(rho_max, form_.locate(p.solid.arris[k]).uv.norm());
        h_max = std::max(h_max, p.height[k] + above_);
      }
    }
    rho_max = std::max(rho_max, form_.length());
    std::uniform_real_distribution<double> unit(0, 1);
    std::array<double, 2> sum{}, squares{};
    for (int k = 0; k < darts; ++k) {
      const double rho = rho_max * std::sqrt(unit(random)), theta = 2 * std::numbers::pi * unit(random),
                   h = h_max * unit(random);
      const Eigen::Vector2d uv(rho * std::cos(theta), rho * std::sin(theta));
      const Place place = place_of(uv, h);
      const bool rim = place == Place::open && is_rim(uv, h);
      if (place != Place::between && !rim) continue;
      const double value = stretch(uv, h);
      sum[rim] += value;
      squares[rim] += value * value;
    }
    const double all = std::numbers::pi * rho_max * rho_max * h_max, n = darts;
    const auto volume = [&](std::size_t k) {
      const double mean = sum[k] / n;
      return Volume{all * mean, all * std::sqrt((squares[k] / n - mean * mean) / n)};
    };
    return {volume(0), volume(1)};
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

  bool fitted() const { return shell_.plan.back == plan::Back::fitted; }

  // The piece's outline at a depth below its face, sliding from arris to root; the root's end is its
  // underside, or the walls go on to the form where backs are shaped to it.
  std::vector<Eigen::Vector2d> section(const Piece& p, double depth) const {
    std::vector<Eigen::Vector2d> out;
    for (std::size_t k = 0; k < p.outline.size(); ++k) {
      const double whole = -p.solid.face.height(p.solid.root[k]);
      const double t =
          whole > 1e-6 ? (fitted() ? depth : std::min(depth, shell_.plan.tile_thickness_mm)) / whole : 0;
      out.push_back(p.outline[k] + t * (p.solid.face.drop(p.solid.root[k]) - p.outline[k]));
    }
    return out;
  }

  enum class Place { wood, between, open, above };  // open: nothing encloses it, below the tape

  // Nearest arris in its face, and the tape's height; of the last look.
  struct Look {
    double to_arris = 1e9, tape = 0;
  };

  // Between the lowest ring and the rim, under tape straight from its arris to the rim: nothing but air towards the
  // rim, wood or a seam towards the pole.
  bool is_rim(const Eigen::Vector2d& uv, double h) const {
    Look look;
    place_of(uv, h, &look);
    const double to_rim = form_.length() - uv.norm();
    const double slope = std::tan(shell_.plan.bevel_deg * std::numbers::pi / 180);
    const double recess = slope * std::clamp(look.tape - h, 0.0, shell_.plan.tile_thickness_mm) + 1;
    if (to_rim < 0 || to_rim + look.to_arris > reach_ + recess) return false;
    if (h > look.tape * to_rim / (to_rim + look.to_arris)) return false;
    const auto at = [&](double along) { return place_of(uv * (uv.norm() + along) / uv.norm(), h); };
    for (double d = 0.4; d < to_rim; d += 0.4) {
      if (at(d) == Place::wood) return false;
    }
    for (double d = 0.4; d < 1.5 * look.to_arris + recess; d += 0.4) {
      const Place place = at(-d);
      if (place == Place::wood || place == Place::between) return true;
    }
    return false;
  }

  Place place_of(const Eigen::Vector2d& uv, double h, Look* look = nullptr) const {
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
      if (look != nullptr) look->to_arris = covered ? 0 : std::min(look->to_arris, nearest);
      if (!covered && nearest < 9) top += height / nearest, weight += 1 / nearest;
      const double depth = std::max(0.0, -face.height(p));
      const std::vector<Eigen::Vector2d> wood = section(piece, depth);
      if (inside_polygon(wood, face.drop(p))) {
        if (fitted() || above_ - face.height(p) <= shell_.plan.tile_thickness_mm) return Place::wood;
        under = true;
      }
      const double reach = reach_ + 2 * std::tan(shell_.plan.bevel_deg * std::numbers::pi / 180) * depth + 1;
      for (const Eigen::Vector2d& q : wood) {
        const Eigen::Vector3d to = face.lift(q) - depth * face.normal - p;
        const Eigen::Vector2d flat(to.dot(e1), to.dot(e2));
        if (flat.norm() < reach) angles.push_back(std::atan2(flat.y(), flat.x()));
      }
    }
    if (under) return Place::between;
    if (weight == 0 || h > top / weight) return Place::above;
    if (look != nullptr) look->tape = top / weight;
    if (angles.size() < 2) return Place::open;
    std::sort(angles.begin(), angles.end());
    double gap = angles.front() + 2 * std::numbers::pi - angles.back();
    for (std::size_t k = 1; k < angles.size(); ++k) gap = std::max(gap, angles[k] - angles[k - 1]);
    return gap < std::numbers::pi ? Place::between : Place::open;
  }

  const TrueShell& shell_;
  const geometry::Profile& form_;
  double reach_, above_;
  std::vector<Piece> pieces_;
};

}  // namespace interstice::testing
