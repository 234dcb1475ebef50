#include "archive/align.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "core/errors.h"
#include "core/median.h"
#include "geometry/polygon.h"

namespace interstice::archive {
namespace {

using Eigen::Isometry3d;
using Eigen::Matrix3d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Vector6d = Eigen::Matrix<double, 6, 1>;
using Matrix6d = Eigen::Matrix<double, 6, 6>;

constexpr double kDegrees = 180.0 / std::numbers::pi;
constexpr std::size_t kPiecesForSixFreedoms =
    4;                            // eight equations for six unknowns, and one piece may have moved
constexpr double kTukey = 4.685;  // 95 % efficiency for normal errors
constexpr double kLeastScale_mm = 0.01;

struct Pair {
  Vector3d in_a, in_b, normal;  // normal of a
};

double wrapped(double angle) {
  return std::remainder(angle, 2 * std::numbers::pi);
}

// The angle among the pieces' own that lies nearest to all of them (a median on the circle): half of the
// pieces may have moved without pulling it.
double turn_about_axis(const std::vector<Pair>& pairs) {
  double best = 0, least = std::numeric_limits<double>::infinity();
  const auto angle = [](const Pair& p) {
    return wrapped(std::atan2(p.in_a.y(), p.in_a.x()) - std::atan2(p.in_b.y(), p.in_b.x()));
  };
  for (const Pair& candidate : pairs) {
    double sum = 0;
    for (const Pair& p : pairs)
      sum += p.in_a.head<2>().norm() * std::abs(wrapped(angle(p) - angle(candidate)));
    if (sum < least) {
      least = sum;
      best = angle(candidate);
    }
  }
  return best;
}

Vector3d in_face(const Pair& p, const Isometry3d& a_T_b) {
  const Vector3d d = a_T_b * p.in_b - p.in_a;
  return d - d.dot(p.normal) * p.normal;
}

// Scale of the residuals of those that agree (median absolute deviation, as a standard deviation a
// component).
double residual_scale(const std::vector<Pair>& pairs, const Isometry3d& a_T_b) {
  std::vector<double> lengths;
  for (const Pair& p : pairs) lengths.push_back(in_face(p, a_T_b).norm());
  constexpr double kRayleighMedian =
      1.17741;  // median length of two normal components with standard deviation 1
  return std::max(kLeastScale_mm, core::median(lengths) / kRayleighMedian);
}

double weight_of(double length, double scale) {
  const double u = length / (kTukey * scale);
  return u < 1 ? (1 - u * u) * (1 - u * u) : 0.0;
}

Matrix3d cross_matrix(const Vector3d& v) {
  Matrix3d m;
  m << 0, -v.z(), v.y(), v.z(), 0, -v.x(), -v.y(), v.x(), 0;
  return m;
}

Isometry3d step(const std::vector<Pair>& pairs, const Isometry3d& a_T_b, double scale) {
  Matrix6d normal_matrix = Matrix6d::Zero();
  Vector6d right = Vector6d::Zero();
  for (const Pair& p : pairs) {
    const Vector3d r = in_face(p, a_T_b);
    const double w = weight_of(r.norm(), scale);
    const Matrix3d project = Matrix3d::Identity() - p.normal * p.normal.transpose();
    Eigen::Matrix<double, 3, 6> jacobian;
    jacobian.leftCols<3>() = -project * cross_matrix(a_T_b * p.in_b);
    jacobian.rightCols<3>() = project;
    normal_matrix += w * jacobian.transpose() * jacobian;
    right -= w * jacobian.transpose() * r;
  }
  normal_matrix.diagonal() *= 1 + 1e-9;
  const Vector6d x = normal_matrix.ldlt().solve(right);
  if (!x.allFinite()) return a_T_b;
  const double angle = x.head<3>().norm();
  Isometry3d change = Isometry3d::Identity();
  if (angle > 0) change.linear() = Eigen::AngleAxisd(angle, x.head<3>() / angle).toRotationMatrix();
  change.translation() = x.tail<3>();
  return change * a_T_b;
}

void describe(const std::vector<Pair>& pairs, Alignment& out) {
  const double scale = residual_scale(pairs, out.a_T_b);
  double squares = 0;
  for (const Pair& p : pairs) {
    const double length = in_face(p, out.a_T_b).norm();
    if (length >= kTukey * scale) continue;
    squares += length * length;
    ++out.agreeing;
  }
  out.rms_mm = out.agreeing > 0 ? std::sqrt(squares / static_cast<double>(out.agreeing)) : 0;
  const Matrix3d r = out.a_T_b.linear();
  const double turn = std::atan2(r(1, 0) - r(0, 1), r(0, 0) + r(1, 1));
  out.turn_deg = turn * kDegrees;
  out.tilt_deg = std::acos(std::clamp(r(2, 2), -1.0, 1.0)) * kDegrees;
  out.shift_mm = out.a_T_b.translation().norm();
}

// One step of laying points on a closed outline by their distances across it; returns false when there is
// nothing to go by.
bool lay_on_outline(const std::vector<Vector3d>& outline, const std::vector<Vector3d>& points, double& turn,
                    Vector2d& moved) {
  Matrix3d normal_matrix = Matrix3d::Zero();
  Vector3d right = Vector3d::Zero();
  const Eigen::Rotation2Dd rotation(turn);
  for (const Vector3d& p : points) {
    const Vector2d at = rotation * p.head<2>() + moved;
    const geometry::NearestOnPolyline hit = geometry::nearest_on_closed(outline, Vector3d(at.x(), at.y(), 0));
    const Vector3d edge = outline[(hit.segment + 1) % outline.size()] - outline[hit.segment];
    const double length = edge.head<2>().norm();
    if (length < 1e-9) continue;
    const Vector2d across(edge.y() / length, -edge.x() / length);
    const double r = (at - hit.point.head<2>()).dot(across);
    const Vector3d jacobian(across.x(), across.y(),
                            across.dot(Vector2d(-at.y() + moved.y(), at.x() - moved.x())));
    normal_matrix += jacobian * jacobian.transpose();
    right -= jacobian * r;
  }
  if (normal_matrix.trace() <= 0) return false;
  normal_matrix.diagonal() *= 1 + 1e-9;
  const Vector3d x = normal_matrix.ldlt().solve(right);
  if (!x.allFinite()) return false;
  moved += x.head<2>();
  turn += x.z();
  return true;
}

}  // namespace

Vector3d face_centre(const seams::FitTile& tile) {
  if (tile.arris.size() < 3) return tile.face.origin;
  geometry::Polygon flat;
  for (const Vector3d& p : tile.arris) flat.push_back(tile.face.drop(p));
  return tile.face.lift(geometry::centroid(flat));
}

std::vector<std::pair<const seams::FitTile*, const seams::FitTile*>> matched_pieces(
    const seams::FitDocument& a, const seams::FitDocument& b) {
  std::map<std::string, const seams::FitTile*> in_b;
  for (const seams::FitTile& tile : b.tiles) {
    if (tile.state == plan::TileState::placed) in_b[tile.label] = &tile;
  }
  std::vector<std::pair<const seams::FitTile*, const seams::FitTile*>> out;
  for (const seams::FitTile& tile : a.tiles) {
    const auto it = in_b.find(tile.label);
    if (tile.state == plan::TileState::placed && it != in_b.end()) out.emplace_back(&tile, it->second);
  }
  return out;
}

Alignment align(const seams::FitDocument& a, const seams::FitDocument& b) {
  std::vector<Pair> pairs;
  for (const auto& [tile_a, tile_b] : matched_pieces(a, b)) {
    pairs.push_back({face_centre(*tile_a), face_centre(*tile_b), tile_a->face.normal.normalized()});
  }
  if (pairs.empty()) {
    throw core::MeasureError(
        "the two scans have no placed piece in common; compare two scans of one piece made with the "
        "same plan");
  }
  Alignment out;
  out.pieces = pairs.size();
  out.a_T_b.linear() = Eigen::AngleAxisd(turn_about_axis(pairs), Vector3d::UnitZ()).toRotationMatrix();
  out.turn_only = pairs.size() < kPiecesForSixFreedoms;
  if (!out.turn_only) {
    for (int i = 0; i < 50; ++i) {
      const Isometry3d next = step(pairs, out.a_T_b, residual_scale(pairs, out.a_T_b));
      const bool still = next.isApprox(out.a_T_b, 1e-12);
      out.a_T_b = next;
      if (still) break;
    }
    out.a_T_b.linear() = Eigen::Quaterniond(out.a_T_b.linear()).normalized().toRotationMatrix();
  }
  describe(pairs, out);
  return out;
}

std::optional<PieceShift> piece_shift(const seams::FitTile& a, const seams::FitTile& b,
                                      const Isometry3d& a_T_b) {
  if (a.arris.size() < 3 || b.arris.size() < 3) return std::nullopt;
  PieceShift shift;
  // Both outlines in a's face, about the face's centre, so that turn and move do not mix.
  const Vector3d centre = face_centre(a);
  const Vector2d middle = a.face.drop(centre);
  std::vector<Vector3d> outline, points;
  for (const Vector3d& p : a.arris) {
    const Vector2d flat = a.face.drop(p) - middle;
    outline.emplace_back(flat.x(), flat.y(), 0);
  }
  for (std::size_t i = 0; i < b.arris.size(); ++i) {
    if (b.arris_sd_mm.size() == b.arris.size() && b.arris_sd_mm[i] < 0)
      continue;  // taken from the plan, not seen
    const Vector2d flat = a.face.drop(a_T_b * b.arris[i]) - middle;
    points.emplace_back(flat.x(), flat.y(), 0);
  }
  double turn = 0;
  for (int i = 0; i < 15 && !points.empty(); ++i) {
    if (!lay_on_outline(outline, points, turn, shift.moved_mm)) break;
  }
  // What lays b on a, turned round, is how b moved from a.
  shift.moved_mm = -(Eigen::Rotation2Dd(-turn) * shift.moved_mm);
  shift.turned_deg = -turn * kDegrees;
  const Vector3d normal_b = a_T_b.linear() * b.face.normal;
  const double along = a.face.normal.dot(normal_b);
  if (std::abs(along) < 0.5)
    return std::nullopt;  // the faces look in different directions: not the same piece
  shift.in_mm = -(a_T_b * b.face.origin - centre).dot(normal_b) / along;
  return shift;
}

}  // namespace interstice::archive
