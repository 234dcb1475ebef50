#include "scan/camera_effects.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <set>
#include <tuple>
#include <utility>
#include <vector>

#include "camera/field_prior.h"
#include "core/chi_squared.h"
#include "scan/bundle_problem.h"

namespace interstice::scan {

namespace {

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

// What freeing an effect gains of chi-squared, a number, where there is nothing of it: white noise gains 1. A photo's rows
// that shift and its tilt move what lies in a plane nearly alike, so that small errors all its features have in common come
// out as half a pixel of shift: in exact pictures (six rendered scans, bends taken up before) a gain of 3.5 to 5.5.
constexpr double kUsualGain = 1, kUsualGainOfRows = 5;

// One effect: how free it is, and how much of it a bundle holds.
struct Effect {
  double& prior_sd;
  double start_sd;
  double numbers;                             // that say it, in this bundle
  double usual_gain;                          // of chi-squared a number, where there is nothing to explain
  std::function<void(Bundle&)> give_room;     // before it is first free
  std::function<double(const Bundle&)> size;  // root mean square of the numbers
};

// Frees the effect and keeps it where it explains more than so many numbers would of noise times the usual gain. How far it
// is then free is what the photos show of it less that noise.
void take_up(const Effect& effect, Bundle& bundle, BundleOptions& options, BundleSummary& summary) {
  Bundle trial = bundle;
  effect.give_room(trial);
  effect.prior_sd = effect.start_sd;
  const BundleSummary freed = adjust(trial, options);
  const double gain = chi_squared(bundle, freed) - chi_squared(trial, freed);
  const double noise = effect.usual_gain * effect.numbers;
  if (!core::more_than_noise(gain / effect.usual_gain, effect.numbers)) {
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

// Root mean square of the second differences along rows and columns, which the field's prior is about.
double roughness(const Bundle& bundle) {
  double sum = 0, count = 0;
  for (const camera::Lens& lens : bundle.lenses) {
    if (!lens.residual) continue;
    const Eigen::MatrixX2d& shifts = lens.residual->shifts();
    camera::for_neighbours_in_threes(*lens.residual, [&](Eigen::Index a, Eigen::Index b, Eigen::Index c) {
      sum += (shifts.row(a) - 2 * shifts.row(b) + shifts.row(c)).squaredNorm();
      count += 2;
    });
  }
  return count > 0 ? std::sqrt(sum / count) : 0;
}

camera::ShiftField empty_field(const camera::Lens& lens) {
  return {lens.width, lens.height, camera::kLensCells};
}

// Coefficients of the lenses' fields that at least one observation reaches.
double reached_coefficients(const Bundle& bundle) {
  std::vector<camera::ShiftField> fields;
  for (const camera::Lens& lens : bundle.lenses) fields.push_back(empty_field(lens));
  std::set<std::pair<std::size_t, Eigen::Index>> reached;
  const auto add = [&](const auto& observations) {
    for (const auto& o : observations) {
      const std::size_t l = bundle.lens_of[o.photo].value;
      for (const Eigen::Index i : fields[l].support(o.pixel).index) reached.emplace(l, i);
    }
  };
  add(bundle.corners);
  add(bundle.ties);
  return static_cast<double>(reached.size());
}

// Whether residuals of one place in the frame, over all photos of a lens, have more in common than noise has. Without that
// no field is worth trying, which costs as much as all other adjustments together. In exact pictures chi-squared of the
// cells' means is 0.8 to 1.1 a number, with a wavy lens of 0.3 px 6 to 7.
bool places_have_something_in_common(const Bundle& bundle, const BundleSummary& usual) {
  constexpr double kMistaken = 3;  // standard deviations
  struct Cell {
    Eigen::Vector2d sum{0, 0};
    double count = 0;
  };
  std::map<std::tuple<std::size_t, int, int>, Cell> cells;
  const auto add = [&](const auto& observations, double factor) {
    for (const auto& o : observations) {
      const Eigen::Vector2d r = residual(bundle, o) / (factor * o.sd_px);
      if (!(r.norm() < kMistaken)) continue;
      const LensIndex l = bundle.lens_of[o.photo];
      const double cell_px =
          std::max(bundle.lenses[l].width, bundle.lenses[l].height) / double(camera::kLensCells);
      Cell& cell = cells[{l.value, int(o.pixel.x() / cell_px), int(o.pixel.y() / cell_px)}];
      cell.sum += r;
      cell.count += 1;
    }
  };
  add(bundle.corners, usual.corner_factor);
  add(bundle.ties, usual.tie_factor);
  double chi_squared = 0;
  for (const auto& [place, cell] : cells) chi_squared += cell.sum.squaredNorm() / cell.count;
  return core::more_than_noise(chi_squared, 2.0 * static_cast<double>(cells.size()));
}

}  // namespace

BundleSummary learn_camera_effects(Bundle& bundle, BundleOptions& options, BundleSummary summary) {
  const auto nothing = [](Bundle&) {};
  take_up(
      {options.bend_prior_sd_per_mm, kStartBend_per_mm, 3.0 * static_cast<double>(bundle.bench_T_card.size()),
       kUsualGain, nothing, [](const Bundle& b) { return root_mean_square(b.bend_per_mm); }},
      bundle, options, summary);
  if (places_have_something_in_common(bundle, summary)) {
    const auto give_fields = [](Bundle& b) {
      for (camera::Lens& lens : b.lenses)
        lens.residual = std::make_shared<const camera::ShiftField>(empty_field(lens));
    };
    take_up({options.residual_prior_sd_px, kStartResidual_px, 2 * reached_coefficients(bundle), kUsualGain,
             give_fields, roughness},
            bundle, options, summary);
  }
  take_up(
      {options.row_shift_prior_sd_px, kStartShift_px, 2.0 * static_cast<double>(bundle.camera_T_bench.size()),
       kUsualGainOfRows, nothing, [](const Bundle& b) { return root_mean_square(b.row_shift_px); }},
      bundle, options, summary);
  return summary;
}

}  // namespace interstice::scan
