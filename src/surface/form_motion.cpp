#include "surface/form_motion.h"

#include <ceres/ceres.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/median.h"

namespace interstice::surface {

using Eigen::Matrix3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// Differences of one pair scatter by 0.1 to 0.2 mm, a photo has five; heights measured with pushed photos
// among the others draw the places together by up to a half. Rendered forms that stood still: 0.36 mm at
// most where the photo's own position is sure.
constexpr double kElsewhere_mm = 0.6;
constexpr double kScatter_mm = 0.2;
constexpr double kSure = 4;  // standard deviations of where a photo was taken from

struct Apart {
  Vector2d moved_mm;
  template <class T>
  bool operator()(const T* first, const T* second, T* r) const {
    for (int k = 0; k < 2; ++k) r[k] = second[k] - first[k] - moved_mm[k];
    return true;
  }
};

// For every photo the first of those that sure differences tie it to.
std::vector<std::size_t> groups(const std::vector<PlaceDifference>& differences, std::size_t photos) {
  std::vector<std::size_t> group(photos);
  std::iota(group.begin(), group.end(), std::size_t{0});
  for (bool changed = true; changed;) {
    changed = false;
    for (const PlaceDifference& d : differences) {
      std::size_t &a = group[d.first.value], &b = group[d.second.value];
      if (!d.sure() || a == b) continue;
      a = b = std::min(a, b);
      changed = true;
    }
  }
  return group;
}

// Every photo's place against that of photo `held`; mistaken differences count less (Huber).
std::vector<Vector2d> places(const std::vector<PlaceDifference>& differences, std::size_t photos,
                             std::size_t held) {
  std::vector<Vector2d> at(photos, Vector2d::Zero());
  ceres::Problem problem;
  for (const PlaceDifference& d : differences) {
    if (!d.sure()) continue;
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<Apart, 2, 2, 2>(new Apart{d.moved_mm}),
                             new ceres::HuberLoss(kScatter_mm), at[d.first.value].data(),
                             at[d.second.value].data());
  }
  if (!problem.HasParameterBlock(at[held].data())) return at;
  problem.SetParameterBlockConstant(at[held].data());
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::SPARSE_NORMAL_CHOLESKY;
  options.num_threads = 1;
  options.logging_type = ceres::SILENT;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  return at;
}

}  // namespace

std::vector<double> place_sds(const scan::Scan& scan, const Vector3d& middle) {
  std::vector<double> out;
  for (const scan::ScannedPhoto& photo : scan.photos) {
    const Eigen::Matrix<double, 3, 7> by = photo.moved_by_errors(middle);
    const Matrix3d in_bowl = photo.camera_T_bowl.linear().transpose() * by * photo.covariance *
                             by.transpose() * photo.camera_T_bowl.linear();
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> over_bench(in_bowl.topLeftCorner<2, 2>());
    out.push_back(std::sqrt(std::max(0.0, over_bench.eigenvalues()[1])));
  }
  return out;
}

std::vector<ElsewhereIn> form_elsewhere(const std::vector<PlaceDifference>& differences,
                                        const std::vector<double>& place_sd_mm) {
  const std::size_t photos = place_sd_mm.size();
  const std::vector<std::size_t> group = groups(differences, photos);
  std::vector<std::size_t> size(photos, 0);
  for (const std::size_t g : group) ++size[g];
  const auto largest = static_cast<std::size_t>(std::max_element(size.begin(), size.end()) - size.begin());
  const std::vector<Vector2d> at = places(differences, photos, largest);
  std::vector<double> x, y;
  std::size_t most = 0;
  for (std::size_t i = 0; i < photos; ++i) {
    std::vector<double> near_x, near_y;
    for (std::size_t j = 0; j < photos; ++j) {
      if (group[i] != largest || group[j] != largest || (at[j] - at[i]).norm() >= kElsewhere_mm) continue;
      near_x.push_back(at[j].x());
      near_y.push_back(at[j].y());
    }
    if (near_x.size() <= most) continue;
    most = near_x.size();
    x = near_x;
    y = near_y;
  }
  std::vector<ElsewhereIn> out;
  if (x.empty()) return out;
  const Vector2d usual(core::median(x), core::median(y));
  for (std::size_t i = 0; i < photos; ++i) {
    const double moved = (at[i] - usual).norm();
    if (group[i] == largest && moved >= std::max(kElsewhere_mm, kSure * place_sd_mm[i]))
      out.push_back({geometry::PhotoIndex(i), moved});
  }
  return out;
}

}  // namespace interstice::surface
