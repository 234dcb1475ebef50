#include "edges/plan_shape.h"

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/median.h"
#include "edges/outline_registration.h"
#include "edges/trace_arris.h"

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr std::size_t kLeastWellSeen = 500;  // a few pieces' worth

struct Nearest {
  std::size_t point = 0;
  double outward_mm = 0;
};

Nearest nearest_planned(const plan::PieceFace& planned, const std::vector<Vector2d>& normals,
                        const Vector2d& p) {
  Nearest out;
  for (std::size_t i = 1; i < planned.outline.size(); ++i) {
    if ((planned.outline[i] - p).squaredNorm() < (planned.outline[out.point] - p).squaredNorm())
      out.point = i;
  }
  out.outward_mm = (p - planned.outline[out.point]).dot(normals[out.point]);
  return out;
}

}  // namespace

PlanShape shape_against_plan(const plan::PieceFace& planned, const std::vector<Vector3d>& arris) {
  PlanShape out;
  geometry::Polygon measured;
  for (const Vector3d& p : arris) measured.push_back(planned.frame.drop(p));
  const Vector2d centre = geometry::centroid(planned.outline);
  out.moved_mm = geometry::centroid(measured) - centre;
  const auto moved_back = [&](const Vector2d& m) -> Vector2d {
    return centre + Eigen::Rotation2Dd(-out.turned_rad) * (m - centre - out.moved_mm);
  };
  const std::vector<Vector2d> normals = geometry::outward_normals(planned.outline);
  double growth = 0;
  for (int round = 0; round < 15; ++round) {
    Eigen::Matrix4d a = 1e-9 * Eigen::Matrix4d::Identity();
    Eigen::Vector4d b = Eigen::Vector4d::Zero();
    const Eigen::Rotation2Dd r(out.turned_rad);
    for (const Vector2d& m : measured) {
      const Nearest at = nearest_planned(planned, normals, moved_back(m));
      const Vector2d n = r * normals[at.point];
      const Vector2d arm = r * (planned.outline[at.point] - centre);
      const Eigen::Vector4d row(n.x(), n.y(), Vector2d(-arm.y(), arm.x()).dot(n), 1.0);
      a += row * row.transpose();
      b += at.outward_mm * row;
    }
    const Eigen::Vector4d x = a.ldlt().solve(b);
    out.moved_mm += x.head<2>();
    out.turned_rad += x[2];
    growth = x[3];
    if (x.head<3>().norm() < 1e-7) break;
  }
  for (const Vector2d& m : measured)
    out.off_mm.push_back(nearest_planned(planned, normals, moved_back(m)).outward_mm - growth);
  return out;
}

std::optional<double> off_plan_sd_mm(std::vector<double> well_seen_off_mm) {
  constexpr double kLeastSd_mm = 0.1;
  if (well_seen_off_mm.size() < kLeastWellSeen) return std::nullopt;
  return std::max(kLeastSd_mm, core::robust_sd_about(std::move(well_seen_off_mm), 0));
}

std::vector<double> off_beside(const std::vector<double>& off_mm) {
  constexpr std::size_t kReach = 8;  // points
  const std::size_t n = off_mm.size();
  std::vector<double> out(n), near;
  for (std::size_t i = 0; i < n; ++i) {
    near.clear();
    for (std::size_t d = 0; d <= 2 * kReach; ++d)
      near.push_back(off_mm[(i + (kReach / n + 1) * n + d - kReach) % n]);
    out[i] = off_mm[i] - core::median(near);
  }
  return out;
}

std::optional<double> off_beside_sd_mm(std::vector<double> well_seen_mm) {
  constexpr double kLeastSd_mm = 0.03;  // of a measured edge
  constexpr double kTwoSided = 1.96;    // of a normal deviate that one in twenty exceeds (any table of it)
  if (well_seen_mm.size() < kLeastWellSeen) return std::nullopt;
  for (double& x : well_seen_mm) x = std::abs(x);
  const auto at = well_seen_mm.begin() + static_cast<std::ptrdiff_t>(well_seen_mm.size() * 19 / 20);
  std::nth_element(well_seen_mm.begin(), at, well_seen_mm.end());
  return std::max(kLeastSd_mm, *at / kTwoSided);
}

double other_line_variance(double off_mm, double usual_sd_mm, double chance) {
  const double z = off_mm / usual_sd_mm;
  const double right =
      (1 - chance) * std::exp(-0.5 * z * z) / (usual_sd_mm * std::sqrt(2 * std::numbers::pi));
  const double other = chance / (2 * PlaceOptions().path_mm);
  return other / (other + right) * (off_mm * off_mm + usual_sd_mm * usual_sd_mm);
}

std::vector<double> other_line_variances(const std::vector<double>& off_mm, const std::vector<double>& photos,
                                         const UsualShape& usual) {
  constexpr std::size_t kReach = 4;  // points
  const std::size_t n = off_mm.size();
  const std::vector<double> beside_mm = off_beside(off_mm);
  std::vector<double> own(n), out(n, 0);
  const auto larger = [&](std::size_t i, double chance) {
    return std::max(other_line_variance(off_mm[i], usual.off_plan_mm, chance),
                    other_line_variance(beside_mm[i], usual.off_beside_mm, chance));
  };
  // How much each of the two doubts counts at a point.
  const auto by_one = [&](std::size_t i) { return shown_alone(photos[i]); };
  const auto by_two = [&](std::size_t i) {
    return (1 - by_one(i)) * std::clamp(kEnoughPhotos - photos[i], 0.0, 1.0);
  };
  for (std::size_t i = 0; i < n; ++i)
    own[i] = by_one(i) * larger(i, kOtherAlone) + by_two(i) * larger(i, kOtherByTwo);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t d = 0; d <= 2 * kReach; ++d) out[i] = std::max(out[i], own[(i + n + d - kReach) % n]);
    out[i] *= by_one(i) + by_two(i);
  }
  return out;
}

}  // namespace interstice::edges
