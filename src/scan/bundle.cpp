#include "scan/bundle.h"

#include <ceres/ceres.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "core/errors.h"
#include "core/median.h"
#include "scan/bundle_problem.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

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

// Points are eliminated first, then all else.
std::shared_ptr<ceres::ParameterBlockOrdering> points_first(const ceres::Problem& problem, BundleBlocks& k) {
  auto ordering = std::make_shared<ceres::ParameterBlockOrdering>();
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
  for (Vector2d& s : k.row_shifts) ordering->AddElementToGroup(s.data(), 1);
  for (Vector3d& s : k.bends) ordering->AddElementToGroup(s.data(), 1);
  for (auto& field : k.fields) {
    for (Vector2d& s : field) ordering->AddElementToGroup(s.data(), 1);
  }
  return ordering;
}

void take_back(const BundleBlocks& k, const BundleOptions& options, Bundle& b) {
  for (std::size_t i = 0; i < k.cameras.size(); ++i)
    b.camera_T_bench[geometry::PhotoIndex(i)] = to_isometry(k.cameras[i]);
  for (std::size_t i = 0; i < k.cards.size(); ++i)
    b.bench_T_card[geometry::CardIndex(i)] = to_isometry(k.cards[i]);
  for (std::size_t i = 0; i < k.lenses.size(); ++i) {
    b.lenses[LensIndex(i)].set_parameters(Eigen::Map<const camera::LensVector>(k.lenses[i].data()));
  }
  for (std::size_t l = 0; l < k.fields.size() && options.residual_prior_sd_px > 0; ++l) {
    camera::Lens& lens = b.lenses[LensIndex(l)];
    if (!lens.residual) continue;
    camera::ShiftField field = *lens.residual;
    for (std::size_t i = 0; i < k.fields[l].size(); ++i)
      field.shifts().row(static_cast<Eigen::Index>(i)) = k.fields[l][i].transpose();
    lens.residual = std::make_shared<const camera::ShiftField>(std::move(field));
  }
  for (std::size_t i = 0; i < k.focus.size(); ++i) b.focus[geometry::PhotoIndex(i)] = k.focus[i];
  if (options.row_shift_prior_sd_px > 0)
    b.row_shift_px = geometry::IndexedVector<geometry::PhotoIndex, Vector2d>(k.row_shifts);
  if (options.bend_prior_sd_per_mm > 0)
    b.bend_per_mm = geometry::IndexedVector<geometry::CardIndex, Vector3d>(k.bends);
  for (std::size_t i = 0; i < k.points.size(); ++i) b.points[PointIndex(i)] = k.points[i];
}

}  // namespace

camera::Lens lens_of_photo(const Bundle& bundle, geometry::PhotoIndex photo) {
  camera::Lens lens = bundle.lenses[bundle.lens_of[photo]];
  lens.fx *= bundle.focus[photo];
  lens.fy *= bundle.focus[photo];
  if (!bundle.row_shift_px.empty()) lens.row_shift_px = bundle.row_shift_px[photo];
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
  Vector3d p_card = o.p_card;
  if (!b.bend_per_mm.empty()) on_bent_card(o.p_card, b.bend_per_mm[o.card].data(), p_card.data());
  const Vector3d p = b.camera_T_bench[o.photo] * (b.bench_T_card[o.card] * p_card);
  return o.pixel - lens_of_photo(b, o.photo).project(p);
}

Vector2d residual(const Bundle& b, const TieObservation& o) {
  return o.pixel - lens_of_photo(b, o.photo).project(b.camera_T_bench[o.photo] * b.points[o.point]);
}

BundleSummary adjust(Bundle& b, const BundleOptions& options) {
  BundleBlocks k = blocks_of(b);
  ceres::Problem problem;
  add_priors(problem, k, b, options);
  add_corners(problem, k, b);
  add_ties(problem, k, b);
  ceres::Solver::Options solver;
  solver.max_num_iterations = options.max_iterations;
  solver.linear_solver_type = b.points.empty() ? ceres::SPARSE_NORMAL_CHOLESKY : ceres::DENSE_SCHUR;
  solver.num_threads = 1;  // sums in one order: the same bytes whatever the machine
  solver.function_tolerance = options.tolerance;
  solver.logging_type = ceres::SILENT;
  if (!b.points.empty()) solver.linear_solver_ordering = points_first(problem, k);
  ceres::Solver::Summary summary;
  ceres::Solve(solver, &problem, &summary);
  if (!summary.IsSolutionUsable()) {
    throw core::MeasureError(
        "the photos' positions could not be solved; photograph again with more cards in view");
  }
  settle(k);
  take_back(k, options, b);
  BundleSummary result;
  summarise(b, b.corners, result.corner_rms_px, result.corner_factor);
  summarise(b, b.ties, result.tie_rms_px, result.tie_factor);
  return result;
}

}  // namespace interstice::scan
