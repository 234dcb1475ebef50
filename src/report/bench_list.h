// The result in words and as a table: what needs work, worst first.
#pragma once

#include <string>
#include <vector>

#include "seams/fit_document.h"

namespace interstice::report {

// Seams that need work: too tight, pinched, doubtful (each by the width that decides, narrowest first), unseen.
// Indices into fit.seams.
std::vector<std::size_t> seams_needing_work(const seams::FitDocument& fit);

// True when every seam is proved clear and nothing is missing.
bool all_clear(const seams::FitDocument& fit);

// Standard output of `fit` and `inspect`: one line a seam that needs work, below it from where to photograph it
// again (indented), then pieces absent or unseen, then
// one line of totals.
std::string bench_list(const seams::FitDocument& fit);

// seams.csv (RFC 4180): one line a seam, header first, numbers with a point.
std::string seams_csv(const seams::FitDocument& fit);

}  // namespace interstice::report
