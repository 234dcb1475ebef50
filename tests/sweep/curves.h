// From runs to numbers, a Markdown table and a picture.
#pragma once

#include <string>
#include <vector>

#include "sweep/runs.h"
#include "sweep/series.h"

namespace interstice::sweep {

// Over the measured seams of all runs at one point; NaN where there is nothing to say.
struct Summary {
  int seams = 0, measured = 0, failed_runs = 0;
  double bias_mm = 0, rms_mm = 0, median_abs_mm = 0, p95_abs_mm = 0;
  double u95_median_mm = 0, coverage = 0;  // share of errors within their own u95
  int tight_called_clear = 0, clear_called_tight = 0;
};

Summary summary(const std::vector<RunResult>& runs);

// Linear interpolation between order statistics, q from 0 to 1; NaN for no values.
double quantile(std::vector<double> values, double q);

struct Curve {
  Series series;
  std::vector<Summary> points;  // as series.points
};

// The seams of these runs sorted by their true width.
Curve by_true_width(const std::vector<RunResult>& runs);

// And by the rings of their pieces.
Curve by_ring(const std::vector<RunResult>& runs);

std::string markdown(const std::vector<Curve>& curves, const std::string& preamble);

// One panel a series: RMS error (line with dots), median absolute error (fine line) and median u95 (broken
// line).
std::string svg(const std::vector<Curve>& curves);

}  // namespace interstice::sweep
