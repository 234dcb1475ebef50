// Pieces as two dense curves, and corrections carried out on them, with geometry of the tests' own: neither mouth.h nor
// the optimiser's motions are used. For tests only.
#pragma once

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

#include "rework/truth_pieces.h"
#include "seams/fit_document.h"

namespace interstice::testing {

// A piece as two dense curves: arris and root, joined by straight rulings.
struct Rulings {
  std::vector<Eigen::Vector3d> arris, root;
  Eigen::Vector3d normal;
};

inline double segment_distance(const Eigen::Vector3d& p, const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  const Eigen::Vector3d d = b - a;
  const double t = std::clamp((p - a).dot(d) / d.squaredNorm(), 0.0, 1.0);
  return (p - (a + t * d)).norm();
}

inline Rulings densified(const Rulings& piece, int parts) {
  Rulings out{{}, {}, piece.normal};
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    const std::size_t j = (i + 1) % piece.arris.size();
    for (int k = 0; k < parts; ++k) {
      const double t = static_cast<double>(k) / parts;
      out.arris.push_back((1 - t) * piece.arris[i] + t * piece.arris[j]);
      out.root.push_back((1 - t) * piece.root[i] + t * piece.root[j]);
    }
  }
  return out;
}

// Narrowest width, arris to rulings both ways; 99 if more than about 20 mm apart.
inline double narrowest_width(const Rulings& a, const Rulings& b) {
  double least = 99, coarse = 1e9;
  for (std::size_t i = 0; i < a.arris.size(); i += 8) {
    for (std::size_t k = 0; k < b.arris.size(); k += 8)
      coarse = std::min(coarse, (a.arris[i] - b.arris[k]).squaredNorm());
  }
  if (coarse > 25 * 25) return least;
  for (const auto& [own, other] : {std::pair(&a, &b), std::pair(&b, &a)}) {
    std::vector<Eigen::Vector3d> near_arris;
    Rulings near_wall;
    for (const Eigen::Vector3d& p : own->arris) {
      for (std::size_t k = 0; k < other->arris.size(); k += 4) {
        if ((p - other->arris[k]).squaredNorm() < 15 * 15) {
          near_arris.push_back(p);
          break;
        }
      }
    }
    for (std::size_t k = 0; k < other->arris.size(); ++k) {
      for (const Eigen::Vector3d& p : near_arris) {
        if ((p - other->arris[k]).squaredNorm() > 16 * 16) continue;
        near_wall.arris.push_back(other->arris[k]);
        near_wall.root.push_back(other->root[k]);
        break;
      }
    }
    for (const Eigen::Vector3d& p : near_arris) {
      for (std::size_t k = 0; k < near_wall.arris.size(); ++k) {
        if ((p - near_wall.arris[k]).squaredNorm() > 18 * 18) continue;
        least = std::min(least, segment_distance(p, near_wall.arris[k], near_wall.root[k]));
      }
    }
  }
  return least;
}

inline Eigen::Vector3d area_centroid(const Rulings& piece) {
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  double area = 0;
  for (std::size_t i = 1; i + 1 < piece.arris.size(); ++i) {
    const Eigen::Vector3d &o = piece.arris[0], &p = piece.arris[i], &q = piece.arris[i + 1];
    const double twice = (p - o).cross(q - o).dot(piece.normal);
    sum += twice * (o + p + q) / 3;
    area += twice;
  }
  return sum / area;
}

// Curvatures of the form at a place from the drawn meridian's own points: along the meridian by the circle
// through three of them some millimetres apart, round the axis by Meusnier's theorem.
struct FormAt {
  Eigen::Vector3d normal, along, pole;
  double along_curvature, pole_curvature, height;
};

inline FormAt form_at(const std::vector<Eigen::Vector2d>& meridian, const Eigen::Vector3d& p) {
  const double r = p.head<2>().norm();
  std::size_t best = 0;
  for (std::size_t i = 0; i < meridian.size(); ++i) {
    if ((meridian[i] - Eigen::Vector2d(r, p.z())).norm() <
        (meridian[best] - Eigen::Vector2d(r, p.z())).norm())
      best = i;
  }
  std::size_t lo = best, hi = best;
  while (lo > 0 && (meridian[lo] - meridian[best]).norm() < 8) --lo;
  while (hi + 1 < meridian.size() && (meridian[hi] - meridian[best]).norm() < 8) ++hi;
  const Eigen::Vector2d a = meridian[lo], b = meridian[best], c = meridian[hi];
  const Eigen::Vector2d tangent = (c - a).normalized();  // from the pole to the rim
  const double cross = (b - a).x() * (c - a).y() - (b - a).y() * (c - a).x();
  FormAt out;
  out.pole_curvature =
      lo < best && best < hi ? std::abs(2 * cross / ((b - a).norm() * (c - b).norm() * (c - a).norm())) : 0;
  const Eigen::Vector3d out_radial(p.x() / r, p.y() / r, 0);
  out.normal = -tangent.y() * out_radial + tangent.x() * Eigen::Vector3d::UnitZ();
  out.pole = -(tangent.x() * out_radial + tangent.y() * Eigen::Vector3d::UnitZ());
  out.along = Eigen::Vector3d::UnitZ().cross(out_radial);
  out.along_curvature = -tangent.y() / std::max(b.x(), 1.0);
  out.height = (p - (b.x() * out_radial + b.y() * Eigen::Vector3d::UnitZ())).dot(out.normal);
  return out;
}

// A slide to second order in the move: the offset surface through the centroid is followed by its curvatures.
inline void move(const std::vector<Eigen::Vector2d>& meridian, const Eigen::Vector3d& centroid,
                 const seams::Correction& c, Rulings& piece) {
  const Eigen::AngleAxisd turn(c.turn_deg * std::numbers::pi / 180, piece.normal);
  const FormAt form = form_at(meridian, centroid);
  const double ka = form.along_curvature / (1 + form.height * form.along_curvature);
  const double kp = form.pole_curvature / (1 + form.height * form.pole_curvature);
  const double a = c.along_mm, p = c.towards_pole_mm;
  const Eigen::Vector3d spin = form.normal.cross(ka * a * form.along + kp * p * form.pole);
  const Eigen::AngleAxisd tilt(
      spin.norm(), spin.norm() > 0 ? Eigen::Vector3d(spin.normalized()) : Eigen::Vector3d::UnitX());
  const Eigen::Vector3d travel =
      a * form.along + p * form.pole - 0.5 * (ka * a * a + kp * p * p) * form.normal;
  for (std::vector<Eigen::Vector3d>* curve : {&piece.arris, &piece.root}) {
    for (Eigen::Vector3d& q : *curve) q = centroid + travel + tilt * (turn * (q - centroid));
  }
  piece.normal = tilt * piece.normal;
}

// Depth taken off every vertex by the sanding of one piece; ends are found on the map.
struct Taken {
  std::vector<double> depth_mm, ease_deg;
};
inline Taken taken_by(const geometry::Profile& form, const Rulings& piece,
                      const std::vector<seams::Correction>& sanding) {
  const std::size_t n = piece.arris.size();
  std::vector<double> arc(1, 0);
  Taken taken{std::vector<double>(n, 0), std::vector<double>(n, 0)};
  std::vector<Eigen::Vector2d> map;
  for (std::size_t i = 0; i < n; ++i) {
    arc.push_back(arc.back() + (piece.arris[(i + 1) % n] - piece.arris[i]).norm());
    map.push_back(form.locate(piece.arris[i]).uv);
  }
  const auto arc_of = [&](const Eigen::Vector2d& uv) {
    std::size_t best = 0;
    for (std::size_t i = 0; i < n; ++i) {
      if ((map[i] - uv).norm() < (map[best] - uv).norm()) best = i;
    }
    // The foot on the longer-reaching of the two edges that meet there.
    double place = arc[best];
    for (const std::size_t i : {best, (best + n - 1) % n}) {
      const Eigen::Vector2d d = map[(i + 1) % n] - map[i];
      const double t = (uv - map[i]).dot(d) / d.squaredNorm();
      if (t > 0 && t < 1) place = arc[i] + t * (arc[i + 1] - arc[i]);
    }
    return place;
  };
  for (const seams::Correction& c : sanding) {
    const double from = arc_of(c.from), whole = arc.back();
    const double length = std::fmod(arc_of(c.to) - from + whole, whole);
    for (std::size_t i = 0; i < n; ++i) {
      const double s = std::fmod(arc[i] - from + whole, whole);
      const double beyond = s <= length ? 0 : std::min(s - length, whole - s);
      const double share = std::max(0.0, 1 - beyond / 3.0);
      taken.depth_mm[i] = std::max(taken.depth_mm[i], c.depth_mm * share);
      taken.ease_deg[i] = std::max(taken.ease_deg[i], c.angle_deg * share);
    }
  }
  return taken;
}

inline void sand(const geometry::Profile& form, const std::vector<seams::Correction>& sanding,
                 Rulings& piece) {
  const Taken taken = taken_by(form, piece, sanding);
  const Rulings before = piece;
  const std::size_t n = piece.arris.size();
  for (std::size_t i = 0; i < n; ++i) {
    const Eigen::Vector3d chord = before.arris[(i + 1) % n] - before.arris[(i + n - 1) % n];
    const Eigen::Vector3d inward = piece.normal.cross(chord).normalized();
    const Eigen::Vector3d wall = before.root[i] - before.arris[i];
    const double height = -wall.dot(piece.normal), bevel = std::atan2(wall.dot(inward), height);
    const double foot =
        height * (std::tan(bevel + taken.ease_deg[i] * std::numbers::pi / 180) - std::tan(bevel));
    piece.arris[i] += taken.depth_mm[i] * inward;
    piece.root[i] += (taken.depth_mm[i] + foot) * inward;
  }
}

inline std::map<std::string, Rulings> true_rulings(const TrueShell& shell) {
  std::map<std::string, Rulings> out;
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    const auto& piece = shell.pieces[geometry::TileIndex(i)];
    if (piece) out[shell.labels[i]] = {piece->arris, piece->root, piece->face.normal};
  }
  return out;
}

inline void carry_out(const TrueShell& shell, const std::vector<seams::Correction>& corrections,
                      std::map<std::string, Rulings>& pieces) {
  std::map<std::string, std::vector<seams::Correction>> sanding, moves;
  for (const seams::Correction& c : corrections)
    (c.action == seams::Correction::Action::move ? moves : sanding)[c.tile].push_back(c);
  for (auto& [label, piece] : pieces) {
    const Eigen::Vector3d centroid = area_centroid(piece);
    if (sanding.contains(label)) sand(shell.plan.profile, sanding[label], piece);
    for (const seams::Correction& c : moves[label]) move(shell.plan.profile.points(), centroid, c, piece);
  }
}

}  // namespace interstice::testing
