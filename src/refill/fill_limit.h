// The width at which half of this maker's seams fill, from which of them did.
//
// Model: logit P(filled) = slope * (width - limit), slope > 0. Fitted by Firth's penalised likelihood (D. Firth
// 1993, "Bias reduction of maximum likelihood estimates", Biometrika 80: the log-likelihood plus half the log of
// the determinant of the information), which has an answer too where the widths separate filled from hollow
// without overlap (G. Heinze and M. Schemper 2002, Statistics in Medicine 21). Uncertainty: the profile of that
// likelihood over the limit, 95 %. mm.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace interstice::refill {

struct SeamOutcome {
  double width_mm = 0;
  bool filled = false;
};

struct LogisticFit {
  double intercept = 0, slope = 0;  // of the logit, on the width itself
};

// Firth's estimate; empty when all widths are one, or there is nothing.
std::optional<LogisticFit> fit_logistic(const std::vector<SeamOutcome>& seams);

struct LimitFit {
  double width_mm = 0, low_mm = 0, high_mm = 0;  // 95 %
};

// Empty when the seams do not tell: fewer than three of either kind, wider seams not filling better than narrow
// ones (95 %), or an interval without an end within the widths there are. `why` says so.
std::optional<LimitFit> fit_limit(const std::vector<SeamOutcome>& seams, std::string& why);

}  // namespace interstice::refill
