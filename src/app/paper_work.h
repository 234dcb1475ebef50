// The work of `plan paper`: pictures of papers on a flatbed to a plan.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "app/commands.h"
#include "layout/form_input.h"
#include "layout/trace.h"

namespace interstice::app {

struct PlanPaperArguments {
  CommonOptions common;
  std::vector<std::string> scans;
  std::string form, out, labels;  // labels empty: only numbered, nothing is laid
  std::string numbered;           // drawing of the papers with their numbers; may be empty
  double check_line_mm = 0;
  std::optional<double> dpi;  // left out: what each file says
  layout::ProfileReading reading;
  double gap_mm = -1;
  layout::TraceOptions trace;
};
int run_plan_paper(const PlanPaperArguments& arguments);

}  // namespace interstice::app
