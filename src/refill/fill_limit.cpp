#include "refill/fill_limit.h"

#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <limits>

namespace interstice::refill {
namespace {

constexpr double kChi2 = 3.841;  // of one degree of freedom, 95 %
constexpr std::size_t kLeastOfKind = 3;
constexpr double kSteepest = 200;  // per mm: a limit sharper than any width is measured

double chance(double logit) {
  return logit >= 0 ? 1 / (1 + std::exp(-logit)) : std::exp(logit) / (1 + std::exp(logit));
}

Eigen::Matrix2d information(const std::vector<SeamOutcome>& seams, const LogisticFit& f) {
  Eigen::Matrix2d info = Eigen::Matrix2d::Zero();
  for (const SeamOutcome& s : seams) {
    const double p = chance(f.intercept + f.slope * s.width_mm);
    const Eigen::Vector2d x(1, s.width_mm);
    info += p * (1 - p) * x * x.transpose();
  }
  return info;
}

double penalised(const std::vector<SeamOutcome>& seams, const LogisticFit& f) {
  double sum = 0;
  for (const SeamOutcome& s : seams) {
    const double logit = f.intercept + f.slope * s.width_mm;
    const double toward = s.filled ? logit : -logit;
    sum -= toward > 0 ? std::log1p(std::exp(-toward)) : -toward + std::log1p(std::exp(toward));
  }
  const double det = information(seams, f).determinant();
  return det > 1e-300 ? sum + 0.5 * std::log(det) : -std::numeric_limits<double>::infinity();
}

// Largest value over the slope (positive) at a given limit.
double at_limit(const std::vector<SeamOutcome>& seams, double limit_mm) {
  const auto value = [&](double log_slope) {
    const double slope = std::exp(log_slope);
    return penalised(seams, {-slope * limit_mm, slope});
  };
  double best = -std::numeric_limits<double>::infinity(), best_at = 0;
  const double low = std::log(0.01), high = std::log(kSteepest);
  for (int k = 0; k <= 60; ++k) {
    const double x = low + (high - low) * k / 60;
    if (const double v = value(x); v > best) best = v, best_at = x;
  }
  for (double step = (high - low) / 120; step > 1e-4; step /= 2) {
    for (const double x : {best_at - step, best_at + step}) {
      if (const double v = value(x); v > best) best = v, best_at = x;
    }
  }
  return best;
}

}  // namespace

std::optional<LogisticFit> fit_logistic(const std::vector<SeamOutcome>& seams) {
  if (seams.empty()) return std::nullopt;
  LogisticFit f;
  if (information(seams, f).determinant() < 1e-12) return std::nullopt;
  double value = penalised(seams, f);
  for (int round = 0; round < 200; ++round) {
    const Eigen::Matrix2d inverse = information(seams, f).inverse();
    Eigen::Vector2d score = Eigen::Vector2d::Zero();
    for (const SeamOutcome& s : seams) {
      const Eigen::Vector2d x(1, s.width_mm);
      const double p = chance(f.intercept + f.slope * s.width_mm);
      const double leverage = p * (1 - p) * x.dot(inverse * x);
      score += ((s.filled ? 1.0 : 0.0) - p + leverage * (0.5 - p)) * x;
    }
    Eigen::Vector2d step = inverse * score;
    bool better = false;
    for (int half = 0; half < 30 && !better; ++half, step /= 2) {
      const LogisticFit next{f.intercept + step[0], f.slope + step[1]};
      const double v = penalised(seams, next);
      if (v > value) f = next, value = v, better = true;
    }
    if (!better || step.norm() < 1e-10) break;
  }
  return f;
}

std::optional<LimitFit> fit_limit(const std::vector<SeamOutcome>& seams, std::string& why) {
  const auto filled = static_cast<std::size_t>(
      std::count_if(seams.begin(), seams.end(), [](const SeamOutcome& s) { return s.filled; }));
  const std::size_t hollow = seams.size() - filled;
  why.clear();
  if (filled < kLeastOfKind || hollow < kLeastOfKind) {
    why = "too few seams " + std::string(filled < kLeastOfKind ? "filled" : "stayed hollow") +
          " to tell the narrowest that fills";
    return std::nullopt;
  }
  const auto f = fit_logistic(seams);
  double mean = 0;
  for (const SeamOutcome& s : seams) mean += s.width_mm / static_cast<double>(seams.size());
  if (!f || f->slope <= 0 || penalised(seams, *f) - at_limit(seams, -1e3) < kChi2 / 2) {
    why = "wide seams filled no better than narrow ones: width is not what kept resin out";
    return std::nullopt;
  }
  const auto [least, most] =
      std::minmax_element(seams.begin(), seams.end(),
                          [](const SeamOutcome& a, const SeamOutcome& b) { return a.width_mm < b.width_mm; });
  LimitFit out;
  out.width_mm = -f->intercept / f->slope;
  const double top = at_limit(seams, out.width_mm);
  const double farthest = most->width_mm - least->width_mm + 1;
  // From the estimate outward to where the profile has fallen by that much.
  const auto end = [&](double outward) {
    const auto outside = [&](double far) {
      return top - at_limit(seams, out.width_mm + outward * far) - kChi2 / 2;
    };
    double in = 0, far = 0.02, value = outside(far);
    while (far < farthest && value <= 0) in = far, far *= 2, value = outside(far);
    if (value > 0) {
      const auto near = [](double a, double b) { return b - a < 1e-10; };
      boost::uintmax_t most_rounds = 60;
      far = boost::math::tools::toms748_solve(outside, in, far, outside(in), value, near, most_rounds).second;
    }
    return out.width_mm + outward * far;
  };
  out.low_mm = end(-1), out.high_mm = end(1);
  if (out.width_mm < least->width_mm || out.width_mm > most->width_mm || out.low_mm < least->width_mm ||
      out.high_mm > most->width_mm) {
    why = "the seams' widths do not reach far enough to both sides of the narrowest that fills";
    return std::nullopt;
  }
  return out;
}

}  // namespace interstice::refill
