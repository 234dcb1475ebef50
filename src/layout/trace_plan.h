// From traced cells to planned pieces: gaps taken out of shared lines, rings and labels proposed.
#pragma once

#include <vector>

#include "layout/trace.h"
#include "layout/trace_cells.h"

namespace interstice::layout {

// Fills in the plan (piece i from cell i), shared_lines and worst_gap_error_mm of `result`. Throws as
// solve_seams().
void plan_of_cells(const std::vector<TracedCell>& cells, const geometry::Profile& form,
                   const TraceOptions& options, TraceResult& result);

}  // namespace interstice::layout
