#include "scan/camera_effects.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>
#include <set>

namespace interstice::scan {

namespace {

// Knots of a lens's field along the long side of a photo: a lens's own waves are longer than a twelfth of it
// (common practice, no source).
constexpr int kCells = 12;
// Freedom at first, far more than any phone needs: the photos then say how much of it is used.
constexpr double kStartShift_px = 3, kStartResidual_px = 0.5;
constexpr double kStartBend_per_mm = 3e-4;  // 1.5 mm at 100 mm from the middle of a card

// Sum of squared residuals in units of what they usually are, mistakes cut off.
double chi_squared(const Bundle& bundle, const BundleSummary& usual) {
  constexpr double kMost = 9;
  double sum = 0;
  const auto add = [&](const auto& observations, double factor) {
    for (const auto& o : observations) {
      const Eigen::Vector2d r = residual(bundle, o) / (factor * o.sd_px);
      for (const double x : {r.x(), r.y()}) sum += std::isfinite(x) ? std::min(kMost, x * x) : kMost;
    }
  };
  add(bundle.corners, usual.corner_factor);
  add(bundle.ties, usual.tie_factor);
  return sum;
}

// What freeing an effect gains in exact pictures (six rendered scans), a number, beyond white noise: what reading corners
// leaves looks like paper bent by 0.02 mm (a gain of 20 to 37); small errors that all features of a photo have in common
// look like half a pixel of shift (3.5 to 5.5), as rows that shift and a photo's tilt move what lies in a plane nearly
// alike. A lens's field gains 0.6 to 1.
constexpr double kUsualGainOfBends = 30, kUsualGainOfFields = 1, kUsualGainOfRows = 5;

// One effect: how free it is, and how much of it a bundle holds.
struct Effect {
  double& prior_sd;
  double start_sd;
  double numbers;                             // that say it, in this bundle
  double usual_gain;                          // of chi-squared a number, where there is nothing to explain
  std::function<void(Bundle&)> give_room;     // before it is first free
  std::function<double(const Bundle&)> size;  // root mean square of the numbers
};

// Frees the effect and keeps it where it explains more than so many numbers would of noise: chi-squared of n has mean n
// and standard deviation sqrt(2 n), times the usual gain. How far it is then free is what the photos show of it less
// that noise.
void take_up(const Effect& effect, Bundle& bundle, BundleOptions& options, BundleSummary& summary) {
  Bundle trial = bundle;
  effect.give_room(trial);
  effect.prior_sd = effect.start_sd;
  const BundleSummary freed = adjust(trial, options);
  const double gain = chi_squared(bundle, freed) - chi_squared(trial, freed);
  const double n = effect.numbers, noise = effect.usual_gain * n;
  if (!(gain > effect.usual_gain * (n + 3 * std::sqrt(2 * n)))) {
    effect.prior_sd = 0;
    return;
  }
  effect.prior_sd = std::min(effect.start_sd, effect.size(trial) * std::sqrt(1 - noise / gain));
  bundle = std::move(trial);
  summary = adjust(bundle, options);
}

template <class Vectors>
double root_mean_square(const Vectors& vectors) {
  double sum = 0, count = 0;
  for (const auto& v : vectors) sum += v.squaredNorm(), count += static_cast<double>(v.size());
  return count > 0 ? std::sqrt(sum / count) : 0;
}

// Second differences along rows and columns, which the field's prior is about.
double roughness(const Bundle& bundle) {
  double sum = 0, count = 0;
  for (const camera::Lens& lens : bundle.lenses) {
    if (!lens.residual) continue;
    const camera::ShiftField& f = *lens.residual;
    const auto add = [&](Eigen::Index at, Eigen::Index step) {
      sum +=
          (f.shifts().row(at) - 2 * f.shifts().row(at + step) + f.shifts().row(at + 2 * step)).squaredNorm();
      count += 2;
    };
    for (Eigen::Index y = 0; y < f.rows(); ++y) {
      for (Eigen::Index x = 0; x < f.columns(); ++x) {
        if (x + 2 < f.columns()) add(y * f.columns() + x, 1);
        if (y + 2 < f.rows()) add(y * f.columns() + x, f.columns());
      }
    }
  }
  return count > 0 ? std::sqrt(sum / count) : 0;
}

// Coefficients of the lenses' fields that at least one observation reaches.
double reached_coefficients(const Bundle& bundle) {
  std::set<std::pair<std::size_t, Eigen::Index>> reached;
  const auto add = [&](const auto& observations) {
    for (const auto& o : observations) {
      const LensIndex l = bundle.lens_of[o.photo];
      const camera::ShiftField field(bundle.lenses[l].width, bundle.lenses[l].height, kCells);
      for (const Eigen::Index i : field.support(o.pixel).index) reached.emplace(l.value, i);
    }
  };
  add(bundle.corners);
  add(bundle.ties);
  return static_cast<double>(reached.size());
}

}  // namespace

BundleSummary learn_camera_effects(Bundle& bundle, BundleOptions& options, BundleSummary summary) {
  const auto nothing = [](Bundle&) {};
  take_up(
      {options.bend_prior_sd_per_mm, kStartBend_per_mm, 3.0 * static_cast<double>(bundle.bench_T_card.size()),
       kUsualGainOfBends, nothing, [](const Bundle& b) { return root_mean_square(b.bend_per_mm); }},
      bundle, options, summary);
  take_up(
      {options.residual_prior_sd_px, kStartResidual_px, 2 * reached_coefficients(bundle), kUsualGainOfFields,
       [](Bundle& b) {
         for (camera::Lens& lens : b.lenses)
           lens.residual = std::make_shared<const camera::ShiftField>(lens.width, lens.height, kCells);
       },
       roughness},
      bundle, options, summary);
  take_up(
      {options.row_shift_prior_sd_px, kStartShift_px, 2.0 * static_cast<double>(bundle.camera_T_bench.size()),
       kUsualGainOfRows, nothing, [](const Bundle& b) { return root_mean_square(b.row_shift_px); }},
      bundle, options, summary);
  return summary;
}

}  // namespace interstice::scan
