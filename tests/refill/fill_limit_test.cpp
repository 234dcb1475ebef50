#include "refill/fill_limit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace interstice::refill {
namespace {

std::vector<SeamOutcome> counts(std::size_t filled1, std::size_t hollow1, std::size_t filled0,
                                std::size_t hollow0) {
  std::vector<SeamOutcome> out;
  for (std::size_t i = 0; i < filled1; ++i) out.push_back({1, true});
  for (std::size_t i = 0; i < hollow1; ++i) out.push_back({1, false});
  for (std::size_t i = 0; i < filled0; ++i) out.push_back({0, true});
  for (std::size_t i = 0; i < hollow0; ++i) out.push_back({0, false});
  return out;
}

// On a saturated 2 x 2 table Firth's estimate is that of the counts with 0.5 added to each (G. Heinze and M.
// Schemper, Statistics in Medicine 21 (2002) 2409; values worked by hand from that rule).
TEST(FillLimit, FirthOnATwoByTwoTableAddsHalfToEachCount) {
  const auto separated = fit_logistic(counts(20, 0, 20, 200));
  ASSERT_TRUE(separated);
  EXPECT_NEAR(separated->slope, 5.994, 1e-3);
  EXPECT_NEAR(separated->intercept, -2.280, 1e-3);
  EXPECT_NEAR(fit_logistic(counts(10, 0, 0, 10))->slope, 6.089, 1e-3);
  EXPECT_NEAR(fit_logistic(counts(7, 3, 2, 8))->slope, 1.986, 1e-3);
}

std::vector<SeamOutcome> drawn(double limit_mm, double slope, std::size_t n, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> width(0.5, 6), chance(0, 1);
  std::vector<SeamOutcome> out;
  for (std::size_t i = 0; i < n; ++i) {
    const double w = width(random);
    out.push_back({w, chance(random) < 1 / (1 + std::exp(-slope * (w - limit_mm)))});
  }
  return out;
}

// The stated interval holds the true limit as often as it says.
TEST(FillLimit, IntervalCoversTheLimitSeamsWereDrawnWith) {
  int covered = 0, found = 0;
  for (unsigned seed = 1; seed <= 200; ++seed) {
    std::string why;
    const auto fit = fit_limit(drawn(2.9, 6, 128, seed), why);
    ASSERT_TRUE(fit) << why;
    ++found;
    covered += fit->low_mm <= 2.9 && 2.9 <= fit->high_mm ? 1 : 0;
  }
  EXPECT_GE(covered, 181);  // 95 % of 200, less three standard deviations of the count
  EXPECT_LE(covered, 199);
}

TEST(FillLimit, SeparableWidthsHaveALimitBetweenThem) {
  std::vector<SeamOutcome> seams;
  for (int k = 0; k < 10; ++k)
    seams.push_back({1.0 + 0.1 * k, false}), seams.push_back({3.0 + 0.1 * k, true});
  std::string why;
  const auto fit = fit_limit(seams, why);
  ASSERT_TRUE(fit) << why;
  EXPECT_GT(fit->width_mm, 1.9);
  EXPECT_LT(fit->width_mm, 3.0);
  EXPECT_GT(fit->high_mm, 2.5);
  EXPECT_LT(fit->low_mm, 2.4);
}

TEST(FillLimit, SaysWhenThereIsNothingToTell) {
  std::string why;
  EXPECT_FALSE(fit_limit({}, why));
  std::vector<SeamOutcome> all;
  for (int k = 0; k < 40; ++k) all.push_back({2 + 0.1 * k, true});
  EXPECT_FALSE(fit_limit(all, why));
  EXPECT_NE(why.find("too few seams stayed hollow"), std::string::npos) << why;
  for (std::size_t k = 0; k < all.size(); ++k) all[k].filled = k % 2 == 0;  // by turns, whatever the width
  EXPECT_FALSE(fit_limit(all, why));
  EXPECT_NE(why.find("no better"), std::string::npos) << why;
}

// Widths in another order, or all wider by one number: the same limit, moved by it.
TEST(FillLimit, MovesWithTheWidths) {
  std::vector<SeamOutcome> seams = drawn(2.9, 6, 128, 3);
  std::string why;
  const auto fit = fit_limit(seams, why);
  for (SeamOutcome& s : seams) s.width_mm += 1.5;
  std::reverse(seams.begin(), seams.end());
  const auto moved = fit_limit(seams, why);
  ASSERT_TRUE(fit && moved);
  EXPECT_NEAR(moved->width_mm, fit->width_mm + 1.5, 1e-6);
  EXPECT_NEAR(moved->low_mm, fit->low_mm + 1.5, 1e-3);
}

}  // namespace
}  // namespace interstice::refill
