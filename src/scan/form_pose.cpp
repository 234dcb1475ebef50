#include "scan/form_pose.h"

#include <ceres/ceres.h>

#include <algorithm>
#include <cmath>

#include "core/errors.h"
#include "core/parallel.h"

namespace interstice::scan {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kInlier_mm = 2.0;  // pieces lift and tilt by about a millimetre
constexpr double kFacePriorSd_mm =
    1.0;  // flat faces on a curved form: their points lie a little higher than the stock
constexpr std::size_t kLeastPoints = 30;

// Distance of a height from the nearest of the two surfaces, signed.
double off_surface(double height, double thickness) {
  const double to_face = height - thickness;
  return std::abs(height) < std::abs(to_face) ? height : to_face;
}

std::size_t explained(const std::vector<Vector3d>& points, const geometry::Profile& profile, double thickness,
                      const Vector2d& axis) {
  std::size_t n = 0;
  for (const Vector3d& p : points) {
    const double h = profile.locate(Vector3d(p.x() - axis.x(), p.y() - axis.y(), p.z())).height;
    if (std::abs(off_surface(h, thickness)) < kInlier_mm) ++n;
  }
  return n;
}

Vector3d to_form(const double* seat, const Vector3d& p) {
  return {p.x() - seat[0], p.y() - seat[1], p.z()};
}

struct HeightCost {
  Vector3d p;
  const geometry::Profile* profile;
  double thickness;
  bool operator()(const double* seat, double* r) const {
    r[0] = off_surface(profile->locate(to_form(seat, p)).height, thickness + seat[2]);
    return true;
  }
};

struct SeatPrior {
  template <class T>
  bool operator()(const T* seat, T* r) const {
    r[0] = seat[2] / kFacePriorSd_mm;
    return true;
  }
};

Vector2d coarse_axis(const std::vector<Vector3d>& points, const geometry::Profile& profile, double thickness,
                     const Vector2d& near, double radius, int threads) {
  Vector2d best = near;
  std::size_t best_count = 0;
  double span = radius;
  for (double step = 6; step > 0.4; step /= 3) {
    const Vector2d centre = best;
    const int n = static_cast<int>(std::ceil(span / step));
    const auto side = static_cast<std::size_t>(2 * n + 1);
    const auto axis_of = [&](std::size_t k) {
      const int i = static_cast<int>(k / side) - n, j = static_cast<int>(k % side) - n;
      return Vector2d(centre + Vector2d(i * step, j * step));
    };
    std::vector<std::size_t> count(side * side);
    core::parallel_for(count.size(), threads,
                       [&](std::size_t k) { count[k] = explained(points, profile, thickness, axis_of(k)); });
    const auto most = std::max_element(count.begin(), count.end());
    if (*most > best_count) {
      best_count = *most;
      best = axis_of(static_cast<std::size_t>(most - count.begin()));
    }
    span = 2 * step;
  }
  return best;
}

}  // namespace

Seat find_seat(const std::vector<Vector3d>& points, const geometry::Profile& profile, double thickness_mm,
               const Vector2d& near, int threads) {
  const double radius = profile.points().back().x();
  std::vector<Vector3d> high;
  for (const Vector3d& p : points) {
    if (p.z() > 3.0 && (p.head<2>() - near).norm() < 3 * radius + 50) high.push_back(p);
  }
  std::vector<Vector3d> few = high;
  if (few.size() > 400) {  // for the coarse search a spread sample is enough
    few.clear();
    for (std::size_t i = 0; i < 400; ++i) few.push_back(high[i * high.size() / 400]);
  }
  Seat seat;
  const Vector2d coarse = coarse_axis(few, profile, thickness_mm, near, radius, threads);
  double x[3] = {coarse.x(), coarse.y(), 0};  // axis x and y, faces above the stock's thickness
  for (const double scale : {1.0, 0.5}) {
    ceres::Problem problem;
    for (const Vector3d& p : high) {
      const double h = off_surface(profile.locate(to_form(x, p)).height, thickness_mm + x[2]);
      if (std::abs(h) > 3 * kInlier_mm) continue;
      problem.AddResidualBlock(new ceres::NumericDiffCostFunction<HeightCost, ceres::CENTRAL, 1, 3>(
                                   new HeightCost{p, &profile, thickness_mm}),
                               new ceres::CauchyLoss(scale), x);
    }
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<SeatPrior, 1, 3>(new SeatPrior), nullptr, x);
    ceres::Solver::Options options;
    options.logging_type = ceres::SILENT;
    options.num_threads = 1;
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);
  }
  for (double& value : x) value = std::round(value * 1e6) / 1e6;  // see settle() in bundle.cpp
  seat.axis_mm = {x[0], x[1]};
  seat.face_mm = thickness_mm + x[2];
  for (const Vector3d& p : high) {
    if (std::abs(off_surface(profile.locate(to_form(x, p)).height, seat.face_mm)) < kInlier_mm) ++seat.points;
  }
  seat.share = high.empty() ? 0 : static_cast<double>(seat.points) / static_cast<double>(high.size());
  if (seat.points < kLeastPoints) {
    throw core::MeasureError(
        "the form was not found on the bench; check that the plan is the one of this form and that the "
        "photos "
        "show it sharply from all round");
  }
  return seat;
}

}  // namespace interstice::scan
