#include "scan/bundle.h"

#include <ceres/ceres.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "core/errors.h"
#include "core/median.h"
#include "core/parallel.h"
#include "scan/reproject.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

struct CornerCost {
  Vector3d p_card;
  Vector2d pixel;
  double sd;
  template <class T>
  bool operator()(const T* lens, const T* focus, const T* camera, const T* card, T* r) const {
    const T pc[3] = {T(p_card.x()), T(p_card.y()), T(p_card.z())};
    T pb[3];
    apply(card, pc, pb);
    return reproject(lens, focus, camera, pb, pixel, sd, r);
  }
};

struct TieCost {
  Vector2d pixel;
  double sd;
  template <class T>
  bool operator()(const T* lens, const T* focus, const T* camera, const T* point, T* r) const {
    return reproject(lens, focus, camera, point, pixel, sd, r);
  }
};

struct LensPrior {
  camera::LensVector mean, sd;
  template <class T>
  bool operator()(const T* lens, T* r) const {
    for (int i = 0; i < camera::kLensParameters; ++i) r[i] = (lens[i] - mean[i]) / sd[i];
    return true;
  }
};

struct SquarePixels {  // fx = fy to a part in ten thousand: sensors are made so
  template <class T>
  bool operator()(const T* lens, T* r) const {
    r[0] = (lens[0] / lens[1] - 1.0) / 1e-4;
    return true;
  }
};

struct FocusPrior {
  double sd;
  template <class T>
  bool operator()(const T* focus, T* r) const {
    r[0] = (focus[0] - 1.0) / sd;
    return true;
  }
};

// The parameter blocks of a bundle in the shape Ceres wants.
struct Blocks {
  std::vector<Pose> cameras, cards;
  std::vector<std::array<double, camera::kLensParameters>> lenses;
  std::vector<double> focus;
  std::vector<Vector3d> points;
};

Blocks blocks_of(const Bundle& b) {
  Blocks k;
  for (const Isometry3d& t : b.camera_T_bench) k.cameras.push_back(to_pose(t));
  for (const Isometry3d& t : b.bench_T_card) k.cards.push_back(to_pose(t));
  for (const camera::Lens& lens : b.lenses) {
    std::array<double, camera::kLensParameters> a{};
    const camera::LensVector v = lens.parameters();
    for (int i = 0; i < camera::kLensParameters; ++i) a[static_cast<std::size_t>(i)] = v[i];
    k.lenses.push_back(a);
  }
  k.focus = b.focus.raw();
  k.points = b.points.raw();
  return k;
}

void add_priors(ceres::Problem& problem, Blocks& k, const Bundle& b, const BundleOptions& options) {
  for (std::size_t l = 0; l < k.lenses.size(); ++l) {
    double* lens = k.lenses[l].data();
    problem.AddParameterBlock(lens, camera::kLensParameters);
    if (!options.free_lens) {
      problem.SetParameterBlockConstant(lens);
      continue;
    }
    const camera::LensVector& sd =
        options.each_lens_prior_sd.empty() ? options.lens_prior_sd : options.each_lens_prior_sd[l];
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<LensPrior, camera::kLensParameters, camera::kLensParameters>(
            new LensPrior{b.lenses[LensIndex(l)].parameters(), sd}),
        nullptr, lens);
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<SquarePixels, 1, camera::kLensParameters>(new SquarePixels), nullptr,
        lens);
  }
  for (double& focus : k.focus) {
    problem.AddParameterBlock(&focus, 1);
    if (options.focus_prior_sd > 0) {
      problem.AddResidualBlock(
          new ceres::AutoDiffCostFunction<FocusPrior, 1, 1>(new FocusPrior{options.focus_prior_sd}), nullptr,
          &focus);
    } else {
      problem.SetParameterBlockConstant(&focus);
    }
  }
}

void add_corners(ceres::Problem& problem, Blocks& k, const Bundle& b) {
  for (const CornerObservation& o : b.corners) {
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<CornerCost, 2, camera::kLensParameters, 1, 6, 6>(
                                 new CornerCost{o.p_card, o.pixel, o.sd_px}),
                             new ceres::CauchyLoss(3.0), k.lenses[b.lens_of[o.photo].value].data(),
                             &k.focus[o.photo.value], k.cameras[o.photo.value].data(),
                             k.cards[o.card.value].data());
  }
  if (!k.cards.empty() && problem.HasParameterBlock(k.cards[0].data())) {
    problem.SetParameterBlockConstant(k.cards[0].data());
  }
}

// The sparse factorisation's order of summation is not the same from run to run; what differs (some 1e-12) is
// rounded off, so that the same photos give the same bytes.
double settled(double x, double step) {
  return std::round(x / step) * step;
}

void settle(Blocks& k) {
  constexpr double kLength_mm = 1e-7, kAngle = 1e-10;
  for (auto* poses : {&k.cameras, &k.cards}) {
    for (Pose& p : *poses) {
      for (std::size_t i = 0; i < 6; ++i) p[i] = settled(p[i], i < 3 ? kAngle : kLength_mm);
    }
  }
  for (auto& lens : k.lenses) {
    for (std::size_t i = 0; i < lens.size(); ++i) lens[i] = settled(lens[i], i < 4 ? 1e-6 : 1e-9);
  }
  for (double& f : k.focus) f = settled(f, 1e-10);
  for (Vector3d& p : k.points) p = p.unaryExpr([](double x) { return settled(x, kLength_mm); }).eval();
}

double robust_factor(std::vector<double> normed) {
  return normed.empty() ? 1.0 : core::robust_sd(std::move(normed));  // |r| / sd of both coordinates
}

template <class Observations>
void summarise(const Bundle& b, const Observations& observations, double& rms, double& factor) {
  std::vector<double> normed;
  double sum = 0;
  for (const auto& o : observations) {
    const Vector2d r = residual(b, o);
    if (!r.allFinite()) continue;
    sum += r.squaredNorm();
    normed.push_back(std::abs(r.x()) / o.sd_px);
    normed.push_back(std::abs(r.y()) / o.sd_px);
  }
  rms = observations.empty() ? 0 : std::sqrt(sum / static_cast<double>(observations.size()));
  factor = robust_factor(std::move(normed));
}

}  // namespace

camera::Lens lens_of_photo(const Bundle& bundle, geometry::PhotoIndex photo) {
  camera::Lens lens = bundle.lenses[bundle.lens_of[photo]];
  lens.fx *= bundle.focus[photo];
  lens.fy *= bundle.focus[photo];
  return lens;
}

void drop_lonely_points(Bundle& bundle) {
  std::vector<int> seen(bundle.points.size(), 0);
  for (const TieObservation& o : bundle.ties) ++seen[o.point.value];
  std::erase_if(bundle.ties, [&](const TieObservation& o) { return seen[o.point.value] < 2; });
}

void drop_unsettled_cards(Bundle& bundle) {
  std::vector<std::size_t> seen(bundle.bench_T_card.size(), 0);
  for (const CornerObservation& o : bundle.corners) ++seen[o.card.value];
  std::erase_if(bundle.corners,
                [&](const CornerObservation& o) { return seen[o.card.value] < kPoseCorners; });
}

Vector2d residual(const Bundle& b, const CornerObservation& o) {
  const Vector3d p = b.camera_T_bench[o.photo] * (b.bench_T_card[o.card] * o.p_card);
  return o.pixel - lens_of_photo(b, o.photo).project(p);
}

Vector2d residual(const Bundle& b, const TieObservation& o) {
  return o.pixel - lens_of_photo(b, o.photo).project(b.camera_T_bench[o.photo] * b.points[o.point]);
}

BundleSummary adjust(Bundle& b, const BundleOptions& options) {
  Blocks k = blocks_of(b);
  ceres::Problem problem;
  add_priors(problem, k, b, options);
  add_corners(problem, k, b);
  for (const TieObservation& o : b.ties) {
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<TieCost, 2, camera::kLensParameters, 1, 6, 3>(
                                 new TieCost{o.pixel, o.sd_px}),
                             new ceres::CauchyLoss(2.0), k.lenses[b.lens_of[o.photo].value].data(),
                             &k.focus[o.photo.value], k.cameras[o.photo.value].data(),
                             k.points[o.point.value].data());
  }
  ceres::Solver::Options solver;
  solver.max_num_iterations = options.max_iterations;
  solver.linear_solver_type = b.points.empty() ? ceres::SPARSE_NORMAL_CHOLESKY : ceres::DENSE_SCHUR;
  solver.num_threads = 1;  // sums in one order: the same bytes whatever the machine
  solver.function_tolerance = options.tolerance;
  solver.logging_type = ceres::SILENT;
  auto* ordering = new ceres::ParameterBlockOrdering;
  for (Vector3d& p : k.points) {
    if (problem.HasParameterBlock(p.data())) ordering->AddElementToGroup(p.data(), 0);
  }
  for (Pose& p : k.cameras) {
    if (problem.HasParameterBlock(p.data())) ordering->AddElementToGroup(p.data(), 1);
  }
  for (Pose& p : k.cards) {
    if (problem.HasParameterBlock(p.data())) ordering->AddElementToGroup(p.data(), 1);
  }
  for (auto& l : k.lenses) ordering->AddElementToGroup(l.data(), 1);
  for (double& f : k.focus) ordering->AddElementToGroup(&f, 1);
  if (!b.points.empty())
    solver.linear_solver_ordering.reset(ordering);
  else
    delete ordering;
  ceres::Solver::Summary summary;
  ceres::Solve(solver, &problem, &summary);
  if (!summary.IsSolutionUsable()) {
    throw core::MeasureError(
        "the photos' positions could not be solved; photograph again with more cards in view");
  }
  settle(k);
  for (std::size_t i = 0; i < k.cameras.size(); ++i)
    b.camera_T_bench[geometry::PhotoIndex(i)] = to_isometry(k.cameras[i]);
  for (std::size_t i = 0; i < k.cards.size(); ++i)
    b.bench_T_card[geometry::CardIndex(i)] = to_isometry(k.cards[i]);
  for (std::size_t i = 0; i < k.lenses.size(); ++i) {
    b.lenses[LensIndex(i)].set_parameters(Eigen::Map<const camera::LensVector>(k.lenses[i].data()));
  }
  for (std::size_t i = 0; i < k.focus.size(); ++i) b.focus[geometry::PhotoIndex(i)] = k.focus[i];
  for (std::size_t i = 0; i < k.points.size(); ++i) b.points[PointIndex(i)] = k.points[i];
  BundleSummary result;
  summarise(b, b.corners, result.corner_rms_px, result.corner_factor);
  summarise(b, b.ties, result.tie_rms_px, result.tie_factor);
  return result;
}

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

}  // namespace

geometry::IndexedVector<geometry::PhotoIndex, Eigen::Matrix<double, 7, 7>> pose_covariances(
    const Bundle& b, const BundleOptions& options, Shared shared) {
  Blocks k = blocks_of(b);
  ceres::Problem problem;
  add_priors(problem, k, b, options);
  add_corners(problem, k, b);
  if (shared == Shared::held) {
    for (auto& lens : k.lenses) hold(problem, lens.data());
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
    Eigen::Matrix<double, 6, 6, Eigen::RowMajor> pose;
    covariance.GetCovarianceBlock(c, c, pose.data());
    auto& m = out[geometry::PhotoIndex(i)];
    m.topLeftCorner<6, 6>() = pose;
    if (focus) {
      Eigen::Matrix<double, 6, 1> cross;
      double var = 0;
      covariance.GetCovarianceBlock(c, &k.focus[i], cross.data());
      covariance.GetCovarianceBlock(&k.focus[i], &k.focus[i], &var);
      m.block<6, 1>(0, 6) = cross;
      m.block<1, 6>(6, 0) = cross.transpose();
      m(6, 6) = var;
    }
    Eigen::Matrix<double, 7, 7> left = Eigen::Matrix<double, 7, 7>::Identity();
    left.topLeftCorner<3, 3>() = left_jacobian(Vector3d(c[0], c[1], c[2]));
    m = left * m * left.transpose();
  }
  for (auto& m : out) {  // to seven digits of every row's and column's standard deviation
    const Eigen::Matrix<double, 7, 1> sd = m.diagonal().cwiseMax(1e-30).cwiseSqrt();
    for (int r = 0; r < 7; ++r) {
      for (int c = 0; c < 7; ++c) {
        m(r, c) = settled(m(r, c), std::pow(10.0, std::floor(std::log10(sd[r] * sd[c])) - 6));
      }
    }
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
