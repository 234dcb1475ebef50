#include "rework/correction_motion.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "geometry/polygon.h"

namespace interstice::rework {
namespace {

using Eigen::AngleAxisd;
using Eigen::Isometry3d;
using Eigen::Matrix2d;
using Eigen::Quaterniond;
using Eigen::Translation3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

// The slide that takes the form's foot point to another: the form's normal follows by the smallest rotation.
Isometry3d slide(const geometry::Profile& form, const Vector2d& from_uv, const Vector2d& to_uv) {
  const Vector3d from = form.point(from_uv), to = form.point(to_uv);
  return Translation3d(to) * Quaterniond::FromTwoVectors(form.normal(from_uv), form.normal(to_uv)) *
         Translation3d(-from);
}

double wrapped_arc(double arc, double perimeter) {
  return arc - std::floor(arc / perimeter) * perimeter;
}

}  // namespace

Vector3d face_centroid(const geometry::PlaneFrame& face, const std::vector<Vector3d>& arris) {
  geometry::Polygon outline;
  for (const Vector3d& p : arris) outline.push_back(face.drop(p));
  return face.lift(geometry::centroid(outline));
}

Isometry3d motion_of(const Move& move, const geometry::Profile& form, const Vector3d& centroid,
                     const Vector3d& face_normal) {
  Isometry3d slid = Isometry3d::Identity();
  if (move.along_mm != 0 || move.towards_pole_mm != 0) {
    const Vector2d foot = form.locate(centroid).uv;
    const Vector3d along = form.along_ring(foot), pole = form.towards_pole(foot);
    const Vector2d wanted(move.along_mm, move.towards_pole_mm);
    // Newton on the map until the centroid has travelled as wanted; the map is near isometric, so the first
    // step is already close.
    const auto travel = [&](const Vector2d& uv) -> Vector2d {
      const Vector3d d = slide(form, foot, uv) * centroid - centroid;
      return {d.dot(along), d.dot(pole)};
    };
    Vector2d uv = foot;
    for (int i = 0; i < 8; ++i) {
      constexpr double h = 1e-3;
      const Vector2d now = travel(uv);
      if ((wanted - now).norm() < 1e-9) break;
      Matrix2d jacobian;
      jacobian << (travel(uv + Vector2d(h, 0)) - travel(uv - Vector2d(h, 0))) / (2 * h),
          (travel(uv + Vector2d(0, h)) - travel(uv - Vector2d(0, h))) / (2 * h);
      if (std::abs(jacobian.determinant()) < 1e-9) break;
      uv += jacobian.inverse() * (wanted - now);
    }
    slid = slide(form, foot, uv);
  }
  const Isometry3d turn = Translation3d(centroid) *
                          AngleAxisd(move.turn_deg * std::numbers::pi / 180.0, face_normal.normalized()) *
                          Translation3d(-centroid);
  return slid * turn;
}

solid::PieceSolid moved_piece(const solid::PieceSolid& piece, const Isometry3d& after_T_before) {
  solid::PieceSolid out = piece;
  for (Vector3d& p : out.arris) p = after_T_before * p;
  for (Vector3d& p : out.root) p = after_T_before * p;
  out.face = {after_T_before * piece.face.origin, after_T_before.linear() * piece.face.ex,
              after_T_before.linear() * piece.face.ey, after_T_before.linear() * piece.face.normal};
  return out;
}

double stretch_length(const SandedStretch& stretch, double perimeter_mm) {
  return wrapped_arc(stretch.to_mm - stretch.from_mm, perimeter_mm);
}

double sanding_weight(const SandedStretch& stretch, double arc_mm, double perimeter_mm) {
  const double length = stretch_length(stretch, perimeter_mm);
  const double after = wrapped_arc(arc_mm - stretch.from_mm, perimeter_mm);
  if (after <= length) return 1.0;
  const double beyond = std::min(after - length, perimeter_mm - after);
  return std::max(0.0, 1.0 - beyond / kRunOutMm);
}

WallShape wall_shape(const solid::PieceSolid& piece, const std::vector<Vector3d>& inward, std::size_t i) {
  const Vector3d down = piece.root[i] - piece.arris[i];
  const double height = std::max(0.0, -down.dot(piece.face.normal));
  if (height <= 0) return {};
  return {height, down.dot(inward[i]) / inward[i].squaredNorm() / height};
}

double foot_taken_mm(const WallShape& wall, double ease_deg) {
  if (ease_deg <= 0) return 0;
  return wall.height_mm * (std::tan(std::atan(wall.slope) + ease_deg * std::numbers::pi / 180) - wall.slope);
}

double ease_for_foot_deg(const WallShape& wall, double foot_mm) {
  if (wall.height_mm <= 0) return 0;
  const double slope = wall.slope + foot_mm / wall.height_mm;
  return (std::atan(slope) - std::atan(wall.slope)) * 180 / std::numbers::pi;
}

solid::PieceSolid sanded_piece(const solid::PieceSolid& piece, const std::vector<SandedStretch>& stretches) {
  if (stretches.empty()) return piece;
  solid::PieceSolid out = piece;
  const std::vector<Vector3d> inward = solid::inward_steps(piece.face, piece.arris);
  std::vector<double> arc(1, 0.0);
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    arc.push_back(arc.back() + (piece.arris[(i + 1) % piece.arris.size()] - piece.arris[i]).norm());
  }
  for (std::size_t i = 0; i < piece.arris.size(); ++i) {
    double depth = 0, ease = 0;  // where stretches meet, the deeper counts: the same wood is not taken twice
    for (const SandedStretch& s : stretches) {
      const double weight = sanding_weight(s, arc[i], arc.back());
      depth = std::max(depth, s.depth_mm * weight);
      ease = std::max(ease, s.ease_deg * weight);
    }
    out.arris[i] += depth * inward[i];
    out.root[i] += (depth + foot_taken_mm(wall_shape(piece, inward, i), ease)) * inward[i];
  }
  return out;
}

}  // namespace interstice::rework
