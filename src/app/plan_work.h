// The work of the `plan` commands: reads, calls the plan stage, writes and prints.
#pragma once

#include <optional>
#include <string>

#include "app/commands.h"
#include "layout/form_input.h"
#include "layout/layout.h"
#include "layout/plan_check.h"
#include "layout/trace.h"
#include "sheets/patterns.h"

namespace interstice::app {

// How photos of a bare form are measured.
struct PhotoReading {
  std::string lens;
  std::optional<double> check_line_mm;
};

struct PlanFormArguments {
  CommonOptions common;
  std::string form, out, name = "form";  // form: a file, or a folder of photos
  PhotoReading photos;
  layout::ProfileReading reading;
};
int run_plan_form(const PlanFormArguments& arguments);

struct PlanMakeArguments {
  CommonOptions common;
  std::string form, out;  // form: a file, or a folder of photos
  std::string drawn;      // with photos: a file that they must fit
  PhotoReading photos;
  std::string gap_from;                 // an archive whose seams say what gap to plan
  double gap_share_percent = 95;        // of seams to fill with that gap
  std::optional<double> piece_size_mm;  // left out: as large as sit on the form
  layout::ProfileReading reading;
  layout::LayoutOptions layout;
};
int run_plan_make(const PlanMakeArguments& arguments);

struct PlanTraceArguments {
  CommonOptions common;
  std::string photos, form, out, labels;  // photos: a folder, or a picture on the map, its scale beside it
  std::string unrolled;                   // see app/unrolled.h; may be empty
  PhotoReading reading_photos;
  layout::ProfileReading reading;
  double gap_mm = -1;
  layout::TraceOptions trace;
};
int run_plan_trace(const PlanTraceArguments& arguments);

struct PlanPatternsArguments {
  CommonOptions common;
  std::string plan, out, sheet = "a4", board;
  sheets::PatternOptions options;
};
int run_plan_patterns(const PlanPatternsArguments& arguments);

struct PlanCheckArguments {
  CommonOptions common;
  std::string plan, board;
  double smallest_fill_mm = 0;
  layout::CheckLimits limits;
};
int run_plan_check(const PlanCheckArguments& arguments);

enum class PlanView { map, sides, gores, bands };
struct PlanDrawArguments {
  CommonOptions common;
  std::string plan, out, sheet = "a4";
  PlanView view = PlanView::map;
  int gores = 0;
};
int run_plan_draw(const PlanDrawArguments& arguments);

}  // namespace interstice::app
