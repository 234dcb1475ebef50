// The one rule against figures worked by hand.
#include "core/verdict.h"

#include <gtest/gtest.h>

#include <cmath>

namespace interstice {
namespace {

using core::judge;
using core::Verdict;

// Worked by hand: 3 mm smallest fill, u95 = 0.2 mm, so u = 0.1 mm and the one-sided 95 % guard band 0.1645
// mm.
TEST(Verdicts, GuardBand) {
  EXPECT_NEAR(core::guard_band_mm(0.2), 0.1645, 1e-12);
  EXPECT_EQ(judge(core::width_of(3.17, 0.2), 3.0), Verdict::clear);
  EXPECT_EQ(judge(core::width_of(3.16, 0.2), 3.0), Verdict::doubtful);
  EXPECT_EQ(judge(core::width_of(2.84, 0.2), 3.0), Verdict::doubtful);
  EXPECT_EQ(judge(core::width_of(2.83, 0.2), 3.0), Verdict::too_tight);
}

// The guard band's factor is the normal deviate of one-sided 95 % (any table of it: P(1.645) = 0.9500).
TEST(Verdicts, FactorOfTheNormalDistribution) {
  EXPECT_NEAR(0.5 * std::erfc(-core::kGuard / std::sqrt(2.0)), 0.95, 5e-5);
}

TEST(Verdicts, KnownWithoutDoubtTheLimitDecides) {
  EXPECT_EQ(judge({3.0, 0}, 3.0), Verdict::clear);
  EXPECT_EQ(judge({std::nextafter(3.0, 0), 0}, 3.0), Verdict::too_tight);
}

}  // namespace
}  // namespace interstice
