// The risks of a verdict against the worked examples of JCGM 106:2012, and what the guard band makes of them.
#include <gtest/gtest.h>
#include <optional>

#include <cmath>
#include <functional>
#include <numbers>

#include "seams/seams.h"

namespace interstice {
namespace {

using Function = std::function<double(double)>;
using Rule = std::function<bool(double)>;

// The quantity follows `prior` over [from, to] and is measured with a normal error of standard deviation u.
struct Risks {
  double false_accept = 0, false_reject = 0;
};
Risks risks(const Function& prior, double from, double to, double u, const Rule& conforms,
            const Rule& accepted) {
  Risks r;
  constexpr int kX = 4000,
                kE = 2000;  // steps; limits that are multiples of (to - from) / kX fall between them
  for (int i = 0; i < kX; ++i) {
    const double x = from + (to - from) * (i + 0.5) / kX;
    const double weight = prior(x) * (to - from) / kX;
    double accept = 0;
    for (int k = 0; k < kE; ++k) {
      const double z = -7 + 14 * (k + 0.5) / kE;
      if (accepted(x + u * z)) accept += std::exp(-z * z / 2) / std::sqrt(2 * std::numbers::pi) * 14 / kE;
    }
    (conforms(x) ? r.false_reject : r.false_accept) += weight * (conforms(x) ? 1 - accept : accept);
  }
  return r;
}

bool above(double y, double limit) {
  return core::judge({y, 0}, std::nullopt, limit).verdict == seams::Verdict::clear;
}
bool below(double y, double limit) {  // an upper limit is a lower one of the negative
  return above(-y, -limit);
}

// JCGM 106:2012, 9.5.4, bearings: Gamma(4, 1/4), upper limit 2, u = 0.25: false accept 0.00802; with the
// acceptance limit 1.67183 it is 0.00100. The guard band of 1.645 u lies further in, at 1.589.
TEST(VerdictRisk, BearingsExample) {
  const auto gamma = [](double x) { return std::pow(x, 3) * std::exp(-4 * x) * 256 / 6; };
  const auto conforms = [](double x) { return x <= 2; };
  const auto accept_risk = [&](const Rule& rule) {
    return risks(gamma, 0, 8, 0.25, conforms, rule).false_accept;
  };
  EXPECT_NEAR(accept_risk([](double y) { return below(y, 2); }), 0.00802, 2e-5);
  EXPECT_NEAR(accept_risk([](double y) { return below(y, 1.67183); }), 0.00100, 1e-5);
  const double guarded = accept_risk([](double y) {
    return core::judge({-y, 0.25}, std::nullopt, -2).verdict == seams::Verdict::clear;
  });
  EXPECT_LT(guarded, 0.00100);
  EXPECT_NEAR(guarded, accept_risk([](double y) { return below(y, 2 - 1.645 * 0.25); }), 1e-12);
}

// A process N(0, 1) with limits -2 and 2 (calibration software's open test values for the same document):
// u = 0.25: 0.0080 and 0.0149; u = 0.5 with the limits drawn in to 0.91 of that: 0.0080 and 0.0661.
TEST(VerdictRisk, ProcessExample) {
  const auto normal = [](double x) { return std::exp(-x * x / 2) / std::sqrt(2 * std::numbers::pi); };
  const auto conforms = [](double x) { return std::abs(x) <= 2; };
  const auto between = [](double limit) {
    return [=](double y) { return above(y, -limit) && below(y, limit); };
  };
  const Risks plain = risks(normal, -8, 8, 0.25, conforms, between(2));
  EXPECT_NEAR(plain.false_accept, 0.0080, 6e-5);
  EXPECT_NEAR(plain.false_reject, 0.0149, 6e-5);
  const Risks drawn = risks(normal, -8, 8, 0.5, conforms, between(1.82));
  EXPECT_NEAR(drawn.false_accept, 0.0080, 6e-5);
  EXPECT_NEAR(drawn.false_reject, 0.0661, 6e-5);
}

// Seams as they come (about 3.7 mm, spread 0.8 mm, limit 3 mm): few truly tight ones are called clear, fewer
// still by much, whatever the uncertainty.
TEST(VerdictRisk, TightSeamsCalledClear) {
  const auto seams = [](double w) {
    return std::exp(-std::pow((w - 3.7) / 0.8, 2) / 2) / (0.8 * std::sqrt(2 * std::numbers::pi));
  };
  for (const double u : {0.05, 0.1, 0.2}) {
    const auto clear = [=](double y) {
      return core::judge({y, u}, std::nullopt, 3).verdict == seams::Verdict::clear;
    };
    const double share = risks(
                             seams, -1, 9, u, [](double w) { return w >= 3; }, clear)
                             .false_accept;
    const double simple =
        risks(
            seams, -1, 9, u, [](double w) { return w >= 3; }, [](double y) { return above(y, 3); })
            .false_accept;
    EXPECT_LT(share, 0.1 * simple) << u;
    EXPECT_LT(risks(
                  seams, -1, 9, u, [=](double w) { return w >= 3 - 2 * u; }, clear)
                  .false_accept,
              1e-4)
        << u;
  }
}

}  // namespace
}  // namespace interstice
