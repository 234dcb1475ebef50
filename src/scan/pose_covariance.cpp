#include "scan/pose_covariance.h"

#include <ceres/ceres.h>

#include <cmath>
#include <vector>

#include "scan/bundle_problem.h"

namespace interstice::scan {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

void hold(ceres::Problem& problem, double* block) {
  if (problem.HasParameterBlock(block)) problem.SetParameterBlockConstant(block);
}

// The small rotation, applied after the rotation vector's own, that adding to the rotation vector comes to
// (the left Jacobian of SO(3)).
Eigen::Matrix3d left_jacobian(const Vector3d& rotation) {
  const double angle = rotation.norm();
  if (angle < 1e-9) return Eigen::Matrix3d::Identity();
  const Vector3d a = rotation / angle;
  Eigen::Matrix3d cross;
  cross << 0, -a.z(), a.y(), a.z(), 0, -a.x(), -a.y(), a.x(), 0;
  const double s = std::sin(angle) / angle;
  return s * Eigen::Matrix3d::Identity() + (1 - s) * a * a.transpose() +
         (1 - std::cos(angle)) / angle * cross;
}

// Of one photo: rotation, translation and, where it is free, focal length.
Eigen::Matrix<double, 7, 7> pose_of(const ceres::Covariance& covariance, const double* c,
                                    const double* focus) {
  Eigen::Matrix<double, 6, 6, Eigen::RowMajor> pose;
  covariance.GetCovarianceBlock(c, c, pose.data());
  Eigen::Matrix<double, 7, 7> m = Eigen::Matrix<double, 7, 7>::Zero();
  m.topLeftCorner<6, 6>() = pose;
  if (focus) {
    Eigen::Matrix<double, 6, 1> cross;
    double var = 0;
    covariance.GetCovarianceBlock(c, focus, cross.data());
    covariance.GetCovarianceBlock(focus, focus, &var);
    m.block<6, 1>(0, 6) = cross;
    m.block<1, 6>(6, 0) = cross.transpose();
    m(6, 6) = var;
  }
  Eigen::Matrix<double, 7, 7> left = Eigen::Matrix<double, 7, 7>::Identity();
  left.topLeftCorner<3, 3>() = left_jacobian(Vector3d(c[0], c[1], c[2]));
  return left * m * left.transpose();
}

// To seven digits of every row's and column's standard deviation.
Eigen::Matrix<double, 7, 7> rounded(Eigen::Matrix<double, 7, 7> m) {
  const Eigen::Matrix<double, 7, 1> sd = m.diagonal().cwiseMax(1e-30).cwiseSqrt();
  for (int r = 0; r < 7; ++r) {
    for (int c = 0; c < 7; ++c) {
      m(r, c) = settled(m(r, c), std::pow(10.0, std::floor(std::log10(sd[r] * sd[c])) - 6));
    }
  }
  return m;
}

}  // namespace

geometry::IndexedVector<geometry::PhotoIndex, Eigen::Matrix<double, 7, 7>> pose_covariances(
    const Bundle& b, const BundleOptions& options, Shared shared) {
  BundleBlocks k = blocks_of(b);
  ceres::Problem problem;
  add_priors(problem, k, b, options);
  add_corners(problem, k, b);
  if (shared == Shared::held) {
    for (auto& lens : k.lenses) hold(problem, lens.data());
  }
  // What rows and paper do is common with the poses: taken as known, a pose's error is that of where things appear.
  for (Vector2d& s : k.row_shifts) hold(problem, s.data());
  for (Vector3d& s : k.bends) hold(problem, s.data());
  for (auto& field : k.fields) {
    for (Vector2d& s : field) hold(problem, s.data());
  }
  geometry::IndexedVector<geometry::PhotoIndex, Eigen::Matrix<double, 7, 7>> out(
      b.camera_T_bench.size(), Eigen::Matrix<double, 7, 7>::Zero());
  ceres::Covariance::Options how;
  how.algorithm_type = ceres::SPARSE_QR;
  how.num_threads = 1;
  ceres::Covariance covariance(how);
  std::vector<std::pair<const double*, const double*>> wanted;
  const bool focus = options.focus_prior_sd > 0;
  for (std::size_t i = 0; i < k.cameras.size(); ++i) {
    const double* c = k.cameras[i].data();
    if (!problem.HasParameterBlock(c)) continue;
    wanted.emplace_back(c, c);
    if (focus) {
      wanted.emplace_back(c, &k.focus[i]);
      wanted.emplace_back(&k.focus[i], &k.focus[i]);
    }
  }
  if (wanted.empty() || !covariance.Compute(wanted, &problem)) return out;
  for (std::size_t i = 0; i < k.cameras.size(); ++i) {
    const double* c = k.cameras[i].data();
    if (!problem.HasParameterBlock(c)) continue;
    out[geometry::PhotoIndex(i)] = rounded(pose_of(covariance, c, focus ? &k.focus[i] : nullptr));
  }
  return out;
}

Eigen::Matrix<double, 7, 7> about_camera(const Eigen::Matrix<double, 7, 7>& about_bench,
                                         const Eigen::Isometry3d& camera_T_bench) {
  // R p + t moves by r x (R p) + d = r x (R p + t) + (d - r x t).
  const Vector3d t = camera_T_bench.translation();
  Eigen::Matrix<double, 7, 7> by = Eigen::Matrix<double, 7, 7>::Identity();
  by.block<3, 3>(3, 0) << 0, -t.z(), t.y(), t.z(), 0, -t.x(), -t.y(), t.x(), 0;
  return by * about_bench * by.transpose();
}

}  // namespace interstice::scan
