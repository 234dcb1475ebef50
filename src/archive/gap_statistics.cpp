#include "archive/gap_statistics.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <map>
#include <stdexcept>

#include "core/errors.h"

namespace interstice::archive {
namespace {

namespace bm = boost::math;

constexpr double kMostSeams = 2000;  // beyond it the noncentral t is slow and k hardly changes

double difference_mm(const LearnedSeam& seam) {
  return seam.built_mm - seam.planned_mm;
}

double normal_quantile(double p) {
  return bm::quantile(bm::normal(), p);
}

double mean_of(const std::vector<double>& x) {
  double sum = 0;
  for (const double v : x) sum += v;
  return sum / static_cast<double>(x.size());
}

double sum_of_squares_about(const std::vector<double>& x, double mean) {
  double sum = 0;
  for (const double v : x) sum += (v - mean) * (v - mean);
  return sum;
}

// Mean, standard deviation and intervals with `effective` independent values behind them.
Spread spread_from(std::string where, std::size_t seams, double mean, double sd, double effective) {
  Spread s{std::move(where), seams, mean, sd, mean, mean, sd, sd};
  const double freedom = effective - 1;
  const double half = bm::quantile(bm::students_t(freedom), 0.975) * sd / std::sqrt(effective);
  s.mean_low_mm = mean - half;
  s.mean_high_mm = mean + half;
  const bm::chi_squared chi2(freedom);
  s.sd_low_mm = sd * std::sqrt(freedom / bm::quantile(chi2, 0.975));
  s.sd_high_mm = sd * std::sqrt(freedom / bm::quantile(chi2, 0.025));
  return s;
}

struct Components {
  double mean = 0, within_variance = 0, between_variance = 0, effective = 0;
};

// One-way random effects by analysis of variance, unequal group sizes. The effective number is that of
// independent values whose mean would be as uncertain.
Components components_of(const std::vector<LearnedSeam>& seams) {
  std::map<std::string, std::vector<double>> by_bowl;
  std::vector<double> all;
  for (const LearnedSeam& seam : seams) {
    by_bowl[seam.piece_name].push_back(difference_mm(seam));
    all.push_back(difference_mm(seam));
  }
  Components c;
  const auto n = static_cast<double>(all.size()), k = static_cast<double>(by_bowl.size());
  c.mean = mean_of(all);
  double within = 0, between = 0, squares = 0;
  for (const auto& [name, values] : by_bowl) {
    const double mean = mean_of(values);
    const auto size = static_cast<double>(values.size());
    within += sum_of_squares_about(values, mean);
    between += size * (mean - c.mean) * (mean - c.mean);
    squares += size * size;
  }
  if (by_bowl.size() < 2 || n <= k) {
    c.within_variance = sum_of_squares_about(all, c.mean) / (n - 1);
    c.effective = n;
    return c;
  }
  c.within_variance = within / (n - k);
  const double usual_size = (n - squares / n) / (k - 1);
  c.between_variance = std::max(0.0, (between / (k - 1) - c.within_variance) / usual_size);
  const double variance_of_mean = c.between_variance * squares / (n * n) + c.within_variance / n;
  const double total = c.within_variance + c.between_variance;
  c.effective = variance_of_mean > 0 ? std::clamp(total / variance_of_mean, 2.0, n) : n;
  return c;
}

std::string where_of(const LearnedSeam& seam) {
  const auto [low, high] = std::minmax(seam.rings[0], seam.rings[1]);
  if (low == high) return "ring " + std::to_string(low);
  return "rings " + std::to_string(low) + "-" + std::to_string(high);
}

std::vector<Spread> spreads_by_ring(const std::vector<LearnedSeam>& seams) {
  std::map<std::pair<int, int>, std::vector<LearnedSeam>> groups;
  for (const LearnedSeam& seam : seams) {
    const auto [low, high] = std::minmax(seam.rings[0], seam.rings[1]);
    groups[{low, high}].push_back(seam);
  }
  std::vector<Spread> out;
  for (const auto& [rings, group] : groups) {
    if (group.size() < 2) continue;
    const Components c = components_of(group);
    out.push_back(spread_from(where_of(group.front()), group.size(), c.mean,
                              std::sqrt(c.within_variance + c.between_variance), c.effective));
  }
  return out;
}

}  // namespace

double tolerance_factor(double seams, double share, double confidence) {
  if (!(seams >= 2) || !(share > 0.5 && share < 1) || !(confidence > 0.5 && confidence < 1)) {
    throw std::invalid_argument(
        "tolerance factor: at least 2 values, share and confidence between 0.5 and 1");
  }
  const double n = std::min(seams, kMostSeams);
  const bm::non_central_t t(n - 1, normal_quantile(share) * std::sqrt(n));
  return bm::quantile(t, confidence) / std::sqrt(n);
}

Learned learn(const std::vector<LearnedSeam>& seams, const std::vector<double>& shares, double confidence,
              double smallest_fill_mm) {
  if (seams.size() < kFewestSeamsToLearnFrom) {
    throw core::MeasureError("the archive holds " + std::to_string(seams.size()) +
                             " measured seams with a planned width; learning needs " +
                             std::to_string(kFewestSeamsToLearnFrom) +
                             " or more: add glued pieces with their plans");
  }
  Learned out;
  out.confidence = confidence;
  out.smallest_fill_mm = smallest_fill_mm;
  std::map<std::string, int> bowls;
  double squares = 0;
  for (const LearnedSeam& seam : seams) {
    ++bowls[seam.piece_name];
    squares += seam.u95_mm * seam.u95_mm / 4;  // expanded uncertainty, coverage factor 2
  }
  out.bowls = bowls.size();
  out.measuring_sd_mm = std::sqrt(squares / static_cast<double>(seams.size()));
  const Components c = components_of(seams);
  const double sd = std::sqrt(c.within_variance + c.between_variance);
  out.bowl_sd_mm = std::sqrt(c.between_variance);
  out.effective_seams = c.effective;
  out.all = spread_from("all", seams.size(), c.mean, sd, c.effective);
  out.by_ring = spreads_by_ring(seams);
  for (const double share : shares) {
    GapAdvice gap;
    gap.share = share;
    gap.factor = tolerance_factor(c.effective, share, confidence);
    gap.estimate_mm = smallest_fill_mm - c.mean + normal_quantile(share) * sd;
    gap.sure_mm = smallest_fill_mm - c.mean + gap.factor * sd;
    std::size_t fillable = 0;
    for (const LearnedSeam& seam : seams) fillable += gap.sure_mm + difference_mm(seam) >= smallest_fill_mm;
    gap.kept_share = static_cast<double>(fillable) / static_cast<double>(seams.size());
    out.gaps.push_back(gap);
  }
  return out;
}

std::optional<double> gap_to_plan_mm(const std::vector<LearnedSeam>& seams, double share, double confidence,
                                     double smallest_fill_mm) {
  if (seams.size() < kFewestSeamsToLearnFrom) return std::nullopt;
  return learn(seams, {share}, confidence, smallest_fill_mm).gaps.front().sure_mm;
}

}  // namespace interstice::archive
