// What the kept pieces say about the gap to plan next time.
//
// Model: a seam comes out at planned + d, where d = built narrowest width (mouth, or throat where that is known to be
// narrower: resin stops there) - planned narrowest mouth is normal, the same for all seams but for an offset each piece (bowl) has of its own (one-way random effects).
// The mean of d says how much room is lost on the way from plan to glue, its standard deviation how unevenly.
// d includes the uncertainty of measuring, so the spread is rather over- than understated. mm.
//
// The gap to plan is smallest fill - mean + k sd. k is the one-sided normal tolerance factor: with the stated
// confidence at least the wanted share of seams is then fillable. Exact by the noncentral t distribution,
// k = t'(confidence; n - 1, z_share sqrt(n)) / sqrt(n) (Natrella, Experimental Statistics, NBS Handbook 91,
// 1963, chapter 2; NIST/SEMATECH e-Handbook 7.2.6.3), with the effective number of seams for n: seams of one
// bowl that share an offset count for less.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "archive/index.h"

namespace interstice::archive {

inline constexpr std::size_t kFewestSeamsToLearnFrom = 5;

struct Spread {
  std::string where;  // "all", "ring 2", "rings 1-2"
  std::size_t seams = 0;
  double mean_mm = 0, sd_mm = 0;             // of built - planned
  double mean_low_mm = 0, mean_high_mm = 0;  // 95 % confidence interval of the mean
  double sd_low_mm = 0, sd_high_mm = 0;      // of the standard deviation
};

struct GapAdvice {
  double share = 0.95;
  double estimate_mm = 0;  // from mean and standard deviation as they are
  double sure_mm = 0;      // with the confidence asked for
  double factor = 0;       // k of sure_mm
  double kept_share = 0;   // of the kept seams, the share this gap would have left fillable
};

struct Learned {
  Spread all;
  std::vector<Spread> by_ring;
  std::size_t bowls = 0;
  double measuring_sd_mm = 0;  // root mean square standard uncertainty of the widths
  double bowl_sd_mm = 0;       // between bowls; 0 when it cannot be told from the spread within
  double effective_seams = 0;
  double confidence = 0.95, smallest_fill_mm = 3;
  std::vector<GapAdvice> gaps;
};

// k for `seams` (may be fractional, at least 2; above 2000 the value for 2000 is given, which is a little
// large). share and confidence in (0.5, 1). Throws std::invalid_argument.
double tolerance_factor(double seams, double share, double confidence);

// Throws MeasureError when fewer than kFewestSeamsToLearnFrom seams are given.
Learned learn(const std::vector<LearnedSeam>& seams, const std::vector<double>& shares, double confidence,
              double smallest_fill_mm);

// The default for a plan's gap: sure_mm for one share. Nothing when the archive holds too few seams.
std::optional<double> gap_to_plan_mm(const std::vector<LearnedSeam>& seams, double share, double confidence,
                                     double smallest_fill_mm);

}  // namespace interstice::archive
