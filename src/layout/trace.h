// From a picture of the form with the pieces drawn on it to a plan.
//
// Two ways of drawing are told apart by what lies across a cell's line: another cell (one line shared by two
// pieces: the chosen gap is taken out of it, see seam_solve.h) or a strip that is no cell (every piece has
// its own closed line: taken as it is). Labels are proposed by ring; handwriting is not read.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "geometry/ortho_picture.h"
#include "layout/cell_complex.h"
#include "plan/plan.h"

namespace interstice::layout {

enum class DrawnLines { decide, shared, own };

struct TraceOptions {
  std::string name = "plan";
  double tile_thickness_mm = 14;
  double bevel_deg = -1;  // negative: from the geometry where lines are shared (bevel_for_plan_deg), else 10
  double smallest_fill_mm = 3.0;
  double gap_mm = 4.2;  // taken out of shared lines
  DrawnLines drawn = DrawnLines::decide;
};

struct TraceResult {
  plan::Plan plan;
  bool shared_lines = false;
  double worst_gap_error_mm = 0;      // of shared lines, as solve_seams reports it
  std::vector<std::string> left_out;  // "near u = 12, v = 80: ..." one line each
  std::vector<std::string>
      look_again;  // labels of pieces whose line has breaks or is partly unseen, with the reason
};

// Throws MeasureError when no lines or no cells are found.
TraceResult trace_layout(const geometry::OrthoPicture& picture, const geometry::Profile& form,
                         const TraceOptions& options);

// A list of labels, lines of "A01,K7" (proposed, wanted; '#' begins a comment), as proposed label -> wanted. Throws
// InputError naming file and line for a line that is none or a label that stands twice.
std::map<std::string, std::string> read_labels(const std::string& text, const std::string& file);

// New labels for a plan: lines of "A01,K7" (proposed, wanted; '#' begins a comment). Throws InputError naming
// file and line for unknown or repeated labels.
void rename_tiles(plan::Plan& plan, const std::string& text, const std::string& file);

}  // namespace interstice::layout
