#include "camera/calibration_solver.h"

#include <ceres/ceres.h>
#include <ceres/rotation.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>

namespace interstice::camera {
namespace {

// What corners of sharp, large prints still miss: see the tests on rendered cards.
constexpr double kCommonSdPx = 0.02;

struct CornerCost {
  Eigen::Vector2d object_mm, pixel;
  double weight;
  bool one_focal;

  template <class T>
  bool operator()(const T* lens, const T* pose, T* residual) const {
    const T object[3] = {T(object_mm.x()), T(object_mm.y()), T(0)};
    T p[3];
    ceres::AngleAxisRotatePoint(pose, object, p);
    for (int i = 0; i < 3; ++i) p[i] += pose[3 + i];
    T own[kLensParameters];
    for (int i = 0; i < kLensParameters; ++i) own[i] = lens[i];
    if (one_focal) own[0] = own[1];
    T seen[2];
    brown_project(own, p, seen);
    residual[0] = (seen[0] - pixel.x()) * weight;
    residual[1] = (seen[1] - pixel.y()) * weight;
    return p[2] > T(0);
  }
};

std::vector<int> held_parameters(const SolverSettings& settings) {
  std::vector<int> held;
  if (settings.one_focal) held.push_back(0);
  if (settings.held_at_zero >= 2) held.push_back(5);
  if (settings.held_at_zero >= 1) held.push_back(8);
  return held;
}

void add_residuals(const std::vector<CalibrationView>& views, const SolverSettings& settings,
                   CalibrationState& state, ceres::Problem& problem) {
  for (std::size_t v = 0; v < views.size(); ++v) {
    for (std::size_t c = 0; c < views[v].pixel.size(); ++c) {
      if (!state.use_corner[v][c]) continue;
      auto* cost = new ceres::AutoDiffCostFunction<CornerCost, 2, kLensParameters, 6>(new CornerCost{
          views[v].object_mm[c], views[v].pixel[c], 1 / corner_weight_sd(views[v], c), settings.one_focal});
      ceres::LossFunction* loss =
          settings.robust_scale > 0 ? new ceres::CauchyLoss(settings.robust_scale) : nullptr;
      problem.AddResidualBlock(cost, loss, state.lens.data(), state.pose[v].data());
    }
  }
  const std::vector<int> held = held_parameters(settings);
  if (!held.empty() && problem.HasParameterBlock(state.lens.data())) {
    problem.SetManifold(state.lens.data(), new ceres::SubsetManifold(kLensParameters, held));
  }
}

double pose_cost(const CalibrationView& view, const std::vector<bool>& use, const LensVector& lens,
                 const std::array<double, 6>& pose) {
  double sum = 0;
  for (std::size_t c = 0; c < view.pixel.size(); ++c) {
    if (!use[c]) continue;
    Eigen::Vector2d r;
    const CornerCost cost{view.object_mm[c], view.pixel[c], 1.0, false};
    if (!cost(lens.data(), pose.data(), r.data())) return std::numeric_limits<double>::infinity();
    sum += std::min(r.squaredNorm(), 1e6);
  }
  return std::isfinite(sum) ? sum : std::numeric_limits<double>::infinity();
}

// The two poses of a plane, from its slopes seen through the lens.
std::vector<std::array<double, 6>> plane_poses(const CalibrationView& view, const std::vector<bool>& use,
                                               const LensVector& parameters) {
  Lens lens;
  lens.set_parameters(parameters);
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> slope;
  for (std::size_t c = 0; c < view.pixel.size(); ++c) {
    const Eigen::Vector3d ray = lens.undistort(view.pixel[c]);
    if (!use[c] || !ray.allFinite()) continue;
    object.emplace_back(view.object_mm[c].x(), view.object_mm[c].y(), 0);
    slope.emplace_back(ray.x() / ray.z(), ray.y() / ray.z());
  }
  std::vector<std::array<double, 6>> out;
  if (object.size() < 4) return out;
  std::vector<cv::Mat> rotations, translations;
  try {
    cv::solvePnPGeneric(object, slope, cv::Matx33d::eye(), cv::noArray(), rotations, translations, false,
                        cv::SOLVEPNP_IPPE);
  } catch (const cv::Exception&) {
    return out;  // corners on one line
  }
  for (std::size_t i = 0; i < rotations.size(); ++i) {
    std::array<double, 6> pose;
    for (int k = 0; k < 3; ++k) {
      pose[static_cast<std::size_t>(k)] = rotations[i].at<double>(k);
      pose[static_cast<std::size_t>(k + 3)] = translations[i].at<double>(k);
    }
    if (std::all_of(pose.begin(), pose.end(), [](double x) { return std::isfinite(x); })) out.push_back(pose);
  }
  return out;
}

}  // namespace

double corner_weight_sd(const CalibrationView& view, std::size_t corner) {
  return view.sd_px.empty() ? 1.0 : std::hypot(view.sd_px[corner], kCommonSdPx);
}

void start_poses(const std::vector<CalibrationView>& views, CalibrationState& state) {
  for (std::size_t v = 0; v < views.size(); ++v) {
    double best = std::numeric_limits<double>::infinity();
    if (state.pose[v][5] > 0) best = pose_cost(views[v], state.use_corner[v], state.lens, state.pose[v]);
    for (const auto& pose : plane_poses(views[v], state.use_corner[v], state.lens)) {
      const double cost = pose_cost(views[v], state.use_corner[v], state.lens, pose);
      if (!(cost < best)) continue;
      best = cost;
      state.pose[v] = pose;
    }
    if (!std::isfinite(best)) state.use_corner[v].assign(views[v].pixel.size(), false);
  }
}

double solve_calibration(const std::vector<CalibrationView>& views, const SolverSettings& settings,
                         CalibrationState& state) {
  if (settings.held_at_zero >= 1) state.lens[8] = 0;
  if (settings.held_at_zero >= 2) state.lens[5] = 0;
  ceres::Problem problem;
  add_residuals(views, settings, state, problem);
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_SCHUR;
  options.max_num_iterations = 200;
  options.function_tolerance = 1e-14;
  options.parameter_tolerance = 1e-12;
  options.gradient_tolerance = 1e-14;
  options.num_threads = 1;
  options.logging_type = ceres::SILENT;
  // Poses are eliminated first: one small block a view.
  auto ordering = std::make_shared<ceres::ParameterBlockOrdering>();
  for (auto& pose : state.pose) {
    if (problem.HasParameterBlock(pose.data())) ordering->AddElementToGroup(pose.data(), 0);
  }
  if (ordering->NumElements() == 0) return std::numeric_limits<double>::infinity();
  ordering->AddElementToGroup(state.lens.data(), 1);
  options.linear_solver_ordering = ordering;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  if (settings.one_focal) state.lens[0] = state.lens[1];
  return summary.IsSolutionUsable() ? summary.final_cost : std::numeric_limits<double>::infinity();
}

std::vector<std::vector<Eigen::Vector2d>> calibration_residuals(const std::vector<CalibrationView>& views,
                                                                const CalibrationState& state) {
  std::vector<std::vector<Eigen::Vector2d>> out(views.size());
  for (std::size_t v = 0; v < views.size(); ++v) {
    for (std::size_t c = 0; c < views[v].pixel.size(); ++c) {
      Eigen::Vector2d r;
      CornerCost{views[v].object_mm[c], views[v].pixel[c], 1.0, false}(state.lens.data(),
                                                                       state.pose[v].data(), r.data());
      out[v].push_back(r);
    }
  }
  return out;
}

bool lens_covariance(const std::vector<CalibrationView>& views, const SolverSettings& settings,
                     const CalibrationState& state, LensMatrix& covariance) {
  // Reduced normal matrix of the lens: each view's pose is eliminated on its own.
  LensMatrix reduced = LensMatrix::Zero();
  for (std::size_t v = 0; v < views.size(); ++v) {
    Eigen::Matrix<double, kLensParameters, 6> cross = Eigen::Matrix<double, kLensParameters, 6>::Zero();
    Eigen::Matrix<double, 6, 6> pose_normal = Eigen::Matrix<double, 6, 6>::Zero();
    LensMatrix lens_normal = LensMatrix::Zero();
    for (std::size_t c = 0; c < views[v].pixel.size(); ++c) {
      if (!state.use_corner[v][c]) continue;
      const ceres::AutoDiffCostFunction<CornerCost, 2, kLensParameters, 6> cost(new CornerCost{
          views[v].object_mm[c], views[v].pixel[c], 1 / corner_weight_sd(views[v], c), settings.one_focal});
      Eigen::Matrix<double, 2, kLensParameters, Eigen::RowMajor> jl;
      Eigen::Matrix<double, 2, 6, Eigen::RowMajor> jp;
      Eigen::Vector2d r;
      const double* blocks[] = {state.lens.data(), state.pose[v].data()};
      double* jacobians[] = {jl.data(), jp.data()};
      cost.Evaluate(blocks, r.data(), jacobians);
      lens_normal += jl.transpose() * jl;
      cross += jl.transpose() * jp;
      pose_normal += jp.transpose() * jp;
    }
    if (pose_normal.isZero()) continue;
    reduced += lens_normal - cross * pose_normal.ldlt().solve(cross.transpose());
  }
  // Held parameters are decoupled. Then scale to a unit diagonal, so that rank is judged free of units.
  const std::vector<int> held = held_parameters(settings);
  for (const int h : held) {
    reduced.row(h).setZero();
    reduced.col(h).setZero();
    reduced(h, h) = 1;
  }
  if (!(reduced.diagonal().minCoeff() > 0) || !reduced.allFinite()) return false;
  const LensVector unit = reduced.diagonal().cwiseSqrt().cwiseInverse();
  const LensMatrix scaled = unit.asDiagonal() * reduced * unit.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<LensMatrix> eigen(scaled);
  if (!(eigen.eigenvalues()(0) > 1e-13)) return false;
  covariance = unit.asDiagonal() * scaled.inverse() * unit.asDiagonal();
  for (const int h : held) covariance(h, h) = 0;
  if (settings.one_focal) {
    covariance.row(0) = covariance.row(1);
    covariance.col(0) = covariance.col(1);
  }
  return true;
}

}  // namespace interstice::camera
