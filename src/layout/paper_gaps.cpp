#include "layout/paper_gaps.h"

#include <Eigen/Geometry>
#include <cmath>
#include <limits>
#include <optional>

namespace interstice::layout {
namespace {

using Eigen::Vector3d;

constexpr double kFacing = -0.5;  // cosine between outward directions of facing edges

// What a small move (x, y, turn) of a paper does to a place of it in the direction `along`.
Vector3d derivative(const LaidShape& laid, const Vector3d& at, const Vector3d& along) {
  return {laid.pose.across.dot(along), laid.up.dot(along), laid.normal.cross(at - laid.pose.at).dot(along)};
}

struct Faced {
  std::size_t paper = 0, point = 0;
};

std::optional<Faced> faced_by(const std::vector<PaperShape>& shapes, const std::vector<LaidShape>& laid,
                              std::size_t i, std::size_t k, const std::vector<std::size_t>& near,
                              double most) {
  const Vector3d& p = laid[i].points[k];
  std::optional<Faced> best;
  double nearest = most * most;
  for (const std::size_t j : near) {
    const double reach = shapes[j].radius + most;
    if ((laid[j].pose.at - p).squaredNorm() > reach * reach) continue;
    for (std::size_t m = 0; m < laid[j].points.size(); ++m) {
      const double d = (laid[j].points[m] - p).squaredNorm();
      if (d < nearest && laid[j].outward[m].dot(laid[i].outward[k]) < kFacing) nearest = d, best = {j, m};
    }
  }
  return best;
}

}  // namespace

LaidShape laid_shape(const geometry::Profile& form, const PaperShape& shape, const PaperPose& pose,
                     double step_mm) {
  LaidShape laid;
  laid.pose = pose;
  laid.normal = outside_normal(form, pose.at);
  laid.up = laid.normal.cross(pose.across);
  for (const Eigen::Vector2d& p : shape.outline)
    laid.points.push_back(laid_on(form, pose, shape.mean_square, p, step_mm));
  const std::size_t n = laid.points.size();
  for (std::size_t k = 0; k < n; ++k) {
    const Vector3d along = laid.points[(k + 1) % n] - laid.points[(k + n - 1) % n];
    laid.outward.push_back(along.cross(outside_normal(form, laid.points[k])).normalized());
  }
  return laid;
}

std::vector<Gap> find_gaps(const geometry::Profile& form, const std::vector<PaperShape>& shapes,
                           const std::vector<LaidShape>& laid, std::size_t from, double most_mm) {
  std::vector<Gap> gaps;
  for (std::size_t i = from; i < laid.size(); ++i) {
    std::vector<std::size_t> near;
    for (std::size_t j = 0; j < laid.size(); ++j) {
      const double reach = shapes[i].radius + shapes[j].radius + most_mm;
      if (j != i && (laid[i].pose.at - laid[j].pose.at).squaredNorm() < reach * reach) near.push_back(j);
    }
    for (std::size_t k = 0; k < laid[i].points.size(); ++k) {
      const Vector3d& p = laid[i].points[k];
      Gap gap;
      gap.paper = i, gap.point = k;
      if (const auto faced = faced_by(shapes, laid, i, k, near, most_mm)) {
        const LaidShape& other = laid[faced->paper];
        const Vector3d& q = other.points[faced->point];
        const Vector3d& out = other.outward[faced->point];
        gap.beyond = static_cast<int>(faced->paper);
        gap.width = out.dot(p - q);
        gap.by_paper = derivative(laid[i], p, out);
        gap.by_beyond = -derivative(other, q, out);
        gaps.push_back(gap);
        continue;
      }
      if (!shapes[i].lowest) continue;
      const geometry::MapPoint at = form.locate(p);
      const Vector3d to_pole = form.towards_pole(at.uv);
      if (laid[i].outward[k].dot(to_pole) > kFacing) continue;
      gap.width = form.length() - at.uv.norm();
      gap.by_paper = derivative(laid[i], p, to_pole);
      gaps.push_back(gap);
    }
  }
  return gaps;
}

}  // namespace interstice::layout
