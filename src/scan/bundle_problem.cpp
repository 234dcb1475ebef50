#include "scan/bundle_problem.h"

#include <ceres/ceres.h>

#include <cmath>
#include <memory>

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

struct CornerCost {
  Vector3d p_card;
  ReadPixel read;
  template <class T>
  bool operator()(const T* lens, const T* focus, const T* row_shift, const T* camera, const T* card,
                  const T* bend, T* r) const {
    T pc[3], pb[3];
    on_bent_card(p_card, bend, pc);
    apply(card, pc, pb);
    return reproject(lens, focus, row_shift, camera, pb, read, r);
  }
};

struct TieCost {
  ReadPixel read;
  template <class T>
  bool operator()(const T* lens, const T* focus, const T* row_shift, const T* camera, const T* point,
                  T* r) const {
    return reproject(lens, focus, row_shift, camera, point, read, r);
  }
};

// Another cost with the lens's field of shifts on top: sixteen of its coefficients, each with a constant weight.
class WithField : public ceres::CostFunction {
 public:
  WithField(ceres::CostFunction* without, const camera::ShiftField::Support& support, double sd)
      : without_(without), support_(support), sd_(sd) {
    set_num_residuals(2);
    *mutable_parameter_block_sizes() = without->parameter_block_sizes();
    for (int k = 0; k < 16; ++k) mutable_parameter_block_sizes()->push_back(2);
  }
  bool Evaluate(double const* const* parameters, double* residuals, double** jacobians) const override {
    if (!without_->Evaluate(parameters, residuals, jacobians)) return false;
    const std::size_t first = without_->parameter_block_sizes().size();
    for (std::size_t k = 0; k < 16; ++k) {
      const double by = support_.weight[k] / sd_;
      for (int i = 0; i < 2; ++i) residuals[i] += by * parameters[first + k][i];
      if (!jacobians || !jacobians[first + k]) continue;
      double* j = jacobians[first + k];
      j[0] = j[3] = by;
      j[1] = j[2] = 0;
    }
    return true;
  }

 private:
  std::unique_ptr<ceres::CostFunction> without_;
  camera::ShiftField::Support support_;
  double sd_;
};

// Neighbouring coefficients of a field change smoothly.
struct SmoothPrior {
  double sd;
  template <class T>
  bool operator()(const T* a, const T* b, const T* c, T* r) const {
    for (int i = 0; i < 2; ++i) r[i] = (a[i] - 2.0 * b[i] + c[i]) / sd;
    return true;
  }
};

// Small numbers that are nought unless the photos say otherwise.
template <int N>
struct NoughtPrior {
  double sd;
  template <class T>
  bool operator()(const T* x, T* r) const {
    for (int i = 0; i < N; ++i) r[i] = x[i] / sd;
    return true;
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

// Blocks of N numbers that are nought but for `prior_sd`; held where that is 0.
template <int N, class Vectors>
void add_nought_priors(ceres::Problem& problem, Vectors& blocks, double prior_sd) {
  for (auto& block : blocks) {
    problem.AddParameterBlock(block.data(), N);
    if (prior_sd > 0) {
      problem.AddResidualBlock(
          new ceres::AutoDiffCostFunction<NoughtPrior<N>, N, N>(new NoughtPrior<N>{prior_sd}), nullptr,
          block.data());
    } else {
      problem.SetParameterBlockConstant(block.data());
    }
  }
}

// What ties a field's coefficients to each other, and weakly to nought.
void add_field_prior(ceres::Problem& problem, std::vector<Vector2d>& field, const camera::ShiftField& shape,
                     double prior_sd_px) {
  add_nought_priors<2>(problem, field, camera::kWeakField * prior_sd_px);
  if (!(prior_sd_px > 0)) return;
  const auto coefficient = [&](Eigen::Index i) { return field[static_cast<std::size_t>(i)].data(); };
  camera::for_neighbours_in_threes(shape, [&](Eigen::Index a, Eigen::Index b, Eigen::Index c) {
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<SmoothPrior, 2, 2, 2, 2>(new SmoothPrior{prior_sd_px}), nullptr,
        coefficient(a), coefficient(b), coefficient(c));
  });
}

// An observation's cost, with the field of its lens where there is one.
void add_observation(ceres::Problem& problem, BundleBlocks& k, const Bundle& b, const ReadPixel& read,
                     geometry::PhotoIndex photo, ceres::CostFunction* cost, double tolerated,
                     const std::vector<double*>& where) {
  const LensIndex lens = b.lens_of[photo];
  std::vector<double*> blocks = {k.lenses[lens.value].data(), &k.focus[photo.value],
                                 k.row_shifts[photo.value].data(), k.cameras[photo.value].data()};
  blocks.insert(blocks.end(), where.begin(), where.end());
  if (const auto& field = b.lenses[lens].residual) {
    const auto support = field->support(read.pixel);
    cost = new WithField(cost, support, read.sd);
    for (const Eigen::Index i : support.index) blocks.push_back(k.fields[lens.value][std::size_t(i)].data());
  }
  problem.AddResidualBlock(cost, new ceres::CauchyLoss(tolerated), blocks);
}

}  // namespace

BundleBlocks blocks_of(const Bundle& b) {
  BundleBlocks k;
  for (const Isometry3d& t : b.camera_T_bench) k.cameras.push_back(to_pose(t));
  for (const Isometry3d& t : b.bench_T_card) k.cards.push_back(to_pose(t));
  for (const camera::Lens& lens : b.lenses) {
    std::array<double, camera::kLensParameters> a{};
    const camera::LensVector v = lens.parameters();
    for (int i = 0; i < camera::kLensParameters; ++i) a[static_cast<std::size_t>(i)] = v[i];
    k.lenses.push_back(a);
    std::vector<Vector2d>& field = k.fields.emplace_back();
    for (Eigen::Index i = 0; lens.residual && i < lens.residual->coefficients(); ++i)
      field.push_back(lens.residual->shifts().row(i).transpose());
  }
  k.focus = b.focus.raw();
  k.row_shifts = b.row_shift_px.raw();
  k.row_shifts.resize(k.cameras.size(), Vector2d::Zero());
  k.bends = b.bend_per_mm.raw();
  k.bends.resize(k.cards.size(), Vector3d::Zero());
  k.points = b.points.raw();
  return k;
}

void add_priors(ceres::Problem& problem, BundleBlocks& k, const Bundle& b, const BundleOptions& options) {
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
  add_nought_priors<2>(problem, k.row_shifts, options.row_shift_prior_sd_px);
  add_nought_priors<3>(problem, k.bends, options.bend_prior_sd_per_mm);
  for (std::size_t l = 0; l < k.fields.size(); ++l) {
    if (!k.fields[l].empty())
      add_field_prior(problem, k.fields[l], *b.lenses[LensIndex(l)].residual, options.residual_prior_sd_px);
  }
}

void add_corners(ceres::Problem& problem, BundleBlocks& k, const Bundle& b) {
  for (const CornerObservation& o : b.corners) {
    const ReadPixel read{o.pixel, o.sd_px, double(b.lenses[b.lens_of[o.photo]].height)};
    add_observation(problem, k, b, read, o.photo,
                    new ceres::AutoDiffCostFunction<CornerCost, 2, camera::kLensParameters, 1, 2, 6, 6, 3>(
                        new CornerCost{o.p_card, read}),
                    3.0, {k.cards[o.card.value].data(), k.bends[o.card.value].data()});
  }
  if (!k.cards.empty() && problem.HasParameterBlock(k.cards[0].data())) {
    problem.SetParameterBlockConstant(k.cards[0].data());
  }
}

void add_ties(ceres::Problem& problem, BundleBlocks& k, const Bundle& b) {
  for (const TieObservation& o : b.ties) {
    const ReadPixel read{o.pixel, o.sd_px, double(b.lenses[b.lens_of[o.photo]].height)};
    add_observation(
        problem, k, b, read, o.photo,
        new ceres::AutoDiffCostFunction<TieCost, 2, camera::kLensParameters, 1, 2, 6, 3>(new TieCost{read}),
        2.0, {k.points[o.point.value].data()});
  }
}

double settled(double x, double step) {
  return std::round(x / step) * step;
}

void settle(BundleBlocks& k) {
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
  for (Vector2d& s : k.row_shifts) s = s.unaryExpr([](double x) { return settled(x, 1e-7); }).eval();
  for (Vector3d& s : k.bends) s = s.unaryExpr([](double x) { return settled(x, 1e-12); }).eval();
  for (auto& field : k.fields) {
    for (Vector2d& s : field) s = s.unaryExpr([](double x) { return settled(x, 1e-7); }).eval();
  }
  for (Vector3d& p : k.points) p = p.unaryExpr([](double x) { return settled(x, kLength_mm); }).eval();
}

}  // namespace interstice::scan
