// From papers laid on the form to a plan.
#pragma once

#include "layout/paper_fit.h"
#include "layout/paper_names.h"
#include "layout/paper_scan.h"
#include "layout/trace.h"

namespace interstice::layout {

// `pages`' pieces, numbered through in their order, named and laid on the form. A paper without a name is left
// out and told. TraceOptions::drawn: shared where papers were cut along one line and the gap is still to be
// taken out; own where each paper is its piece. Throws InputError, MeasureError as lay_papers and solve_seams.
TraceResult trace_papers(const std::vector<PaperPage>& pages, const std::vector<PaperName>& names,
                         const geometry::Profile& form, const TraceOptions& options, int threads);

}  // namespace interstice::layout
