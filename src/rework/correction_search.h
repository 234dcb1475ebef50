// The search for the least work: choices of the linear model laid out in 3-D until no seam misses its bounds.
#pragma once

#include <vector>

#include "rework/correction_layout.h"

namespace interstice::rework {

// Corrections as laid out, and the seams they leave.
struct Outcome {
  LaidOut layout;
  ByPair<char> given_up;
  bool proved = false;       // no fewer pieces would do, in the linear model
  std::size_t at_least = 0;  // pieces, in the linear model
};

// Never misses a bound: what cannot be had is given up. Some pair must have to rise.
Outcome search_corrections(const CorrectionShell& shell, const CorrectionOptions& options);

// Takes pieces back to where they stand until no seam misses its bounds: of each seam that misses them the
// one piece, or both, whose going costs least in seams. The search's last resort.
Outcome taken_back(const CorrectionShell& shell, const CorrectionOptions& options, Outcome out);

}  // namespace interstice::rework
