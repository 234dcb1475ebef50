// The one rule against figures worked by hand.
#include "core/verdict.h"

#include <gtest/gtest.h>
#include <optional>

#include <cmath>

namespace interstice {
namespace {

using core::judge;
using core::Verdict;

// Worked by hand: 3 mm smallest fill, u95 = 0.2 mm, so u = 0.1 mm and the one-sided 95 % guard band 0.1645
// mm.
TEST(Verdicts, GuardBand) {
  EXPECT_NEAR(core::guard_band_mm(0.2), 0.1645, 1e-12);
  EXPECT_EQ(judge(core::width_of(3.17, 0.2), std::nullopt, 3.0).verdict, Verdict::clear);
  EXPECT_EQ(judge(core::width_of(3.16, 0.2), std::nullopt, 3.0).verdict, Verdict::doubtful);
  EXPECT_EQ(judge(core::width_of(2.84, 0.2), std::nullopt, 3.0).verdict, Verdict::doubtful);
  EXPECT_EQ(judge(core::width_of(2.83, 0.2), std::nullopt, 3.0).verdict, Verdict::too_tight);
}

// The throat decides where the mouth does not. u = 0.1 mm: guard band 0.1645 mm, likely narrow from 0.0253 mm
// below (worked by hand; P(0.2533) = 0.6000 in any table of the normal distribution).
TEST(Verdicts, ThroatBehindTheMouth) {
  struct Case {
    double mouth_mm, throat_mm;
    Verdict verdict;
    core::Doubt doubt;
  };
  using core::Doubt;
  const Case cases[] = {
      {3.5, 3.17, Verdict::clear, Doubt::none},      {3.5, 3.16, Verdict::doubtful, Doubt::throat},
      {3.5, 2.98, Verdict::doubtful, Doubt::throat}, {3.5, 2.97, Verdict::pinched, Doubt::none},
      {3.1, 3.05, Verdict::doubtful, Doubt::mouth},  {3.1, 2.84, Verdict::doubtful, Doubt::mouth},
      {3.1, 2.83, Verdict::pinched, Doubt::none},    {2.5, 2.0, Verdict::too_tight, Doubt::none},
      {2.99, 2.83, Verdict::too_tight, Doubt::none}, {3.0, 2.83, Verdict::pinched, Doubt::none},
      {2.99, 2.84, Verdict::doubtful, Doubt::mouth},
  };
  for (const Case& c : cases) {
    const core::Judgement j = judge({c.mouth_mm, 0.1}, core::Width{c.throat_mm, 0.1}, 3.0);
    EXPECT_EQ(j.verdict, c.verdict) << c.mouth_mm << " " << c.throat_mm;
    EXPECT_EQ(j.doubt, c.doubt) << c.mouth_mm << " " << c.throat_mm;
  }
}

// Law: a narrower throat, or a less certain one that is wide, never makes a seam clear.
TEST(Verdicts, NeverClearerForANarrowerThroat) {
  for (double mouth = 2.5; mouth < 4; mouth += 0.05) {
    for (double throat = 1; throat <= mouth; throat += 0.05) {
      for (const double u : {0.0, 0.05, 0.2, 0.5}) {
        const bool clear = judge({mouth, 0.1}, core::Width{throat, u}, 3.0).verdict == Verdict::clear;
        if (!clear) continue;
        EXPECT_GE(throat - core::kGuard * u, 3.0);
        EXPECT_EQ(judge({mouth, 0.1}, core::Width{throat + 0.1, u}, 3.0).verdict, Verdict::clear);
        EXPECT_EQ(judge({mouth, 0.1}, core::Width{throat, u / 2}, 3.0).verdict, Verdict::clear);
      }
    }
  }
}

// The factors are normal deviates of one-sided 95 % and 60 % (any table of it: P(1.645) = 0.9500, P(0.2533) =
// 0.6000).
TEST(Verdicts, FactorOfTheNormalDistribution) {
  EXPECT_NEAR(0.5 * std::erfc(-core::kGuard / std::sqrt(2.0)), 0.95, 5e-5);
  EXPECT_NEAR(0.5 * std::erfc(-core::kLikely / std::sqrt(2.0)), 0.60, 5e-5);
}

TEST(Verdicts, KnownWithoutDoubtTheLimitDecides) {
  EXPECT_EQ(judge({3.0, 0}, std::nullopt, 3.0).verdict, Verdict::clear);
  EXPECT_EQ(judge({std::nextafter(3.0, 0), 0}, std::nullopt, 3.0).verdict, Verdict::too_tight);
}

}  // namespace
}  // namespace interstice
