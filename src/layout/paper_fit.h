// Pieces of paper laid back on the form, ring by ring from the rim, each beside its neighbours.
//
// Model: pieces of a ring follow one another counter-clockwise in the order given, the lowest ring stands on
// the rim, and gaps are even: within a ring, and from ring to ring (all nothing where the papers were cut along one
// line). Places and turns of all papers and these widths are one robust least
// squares over facing edges, begun ring by ring from many turns of the ring about the axis; the papers themselves do not change (layout/paper_pose.h). Frame `bowl`; the first
// piece lies at theta = 0. Errors: MeasureError when the lowest ring's papers do not fit round the form.
#pragma once

#include <optional>
#include <vector>

#include "geometry/polygon.h"
#include "geometry/profile.h"

namespace interstice::layout {

struct PaperToLay {
  geometry::Polygon outline;  // about its middle, y towards the pole, counter-clockwise, mm
  int ring = 1;               // sorted by ring, in a ring by order
};

struct PaperFitOptions {
  double most_gap_mm = 12;       // facing edges further apart are not neighbours
  std::optional<bool> one_line;  // cut along one line: no gaps; left out: as the lowest ring's papers say
  double least_gap_mm = 1.5;     // papers with less than this between them were cut along one line
  int threads = 0;
};

struct LaidPaper {
  geometry::Polygon outline;  // on the map
  std::vector<int> beyond;    // for every point: the paper that faces it, -1 for none
  double misfit_mm = 0;       // of its gaps from the even one, root mean square
};

struct PaperFit {
  std::vector<LaidPaper> papers;
  bool one_line = false;          // cut along one line, no gaps
  double between_mm = 0;          // the even gap from ring to ring
  std::vector<double> beside_mm;  // within each ring, from the lowest
  double rms_mm = 0;              // of all gaps from them
};

PaperFit lay_papers(const std::vector<PaperToLay>& papers, const geometry::Profile& form,
                    const PaperFitOptions& options);

}  // namespace interstice::layout
