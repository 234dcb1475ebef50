// A short sequence of tilts that fills what one opening at a time can fill.
//
// Each pour is made at one tilt into what the pours before it left empty (they have cured): every connected
// stretch still empty is opened at its own highest place (air.h). The search looks for the fewest pours, by
// going deeper only when one pour fewer cannot do (iterative deepening over the candidate tilts, keeping the
// `beam` best beginnings at each depth: exhaustive, hence the true minimum over the candidates, when the beam
// holds them all). If more is left then than is good enough, the tilts are refined between the candidates.
// Among sequences that leave little enough the one with the smallest tilts wins.
#pragma once

#include <vector>

#include "pour/air.h"

namespace interstice::pour {

// The bowl leaned by `tilt` so that the side at `azimuth` (bowl frame, counter-clockwise) comes up.
struct Tilt {
  double tilt_deg = 0, azimuth_deg = 0;
  Eigen::Vector3d up() const;
};

struct SearchOptions {
  std::vector<Tilt> candidates;
  double leave_mm3 = 0;     // this much trapped air is good enough
  double smallest_mm3 = 0;  // stretches smaller than this are not opened
  int most_pours = 4;
  std::size_t beam = 64;
  double refine_tilt_deg = 0;  // try tilts this far to each side, then half as far; 0: no refinement
  double refine_azimuth_deg = 0;
  int threads = 1;
};

struct PourStep {
  Tilt tilt;
  Fill fill;  // `filled` here is the fraction of each whole cell
};

struct PourSequence {
  std::vector<PourStep> steps;
  ByCell<double> remaining;  // fraction of each cell still empty at the end
  double left_mm3 = 0;
};

// usable[c]: resin can get to cell c at all. may_open[c]: its ports may serve as openings.
PourSequence search_pours(const channels::CellGraph& graph, const ByCell<char>& usable,
                          const ByCell<char>& may_open, const SearchOptions& options);

// Tilts every `step` degrees from 0 to 180 towards each azimuth (upright and upside down once).
std::vector<Tilt> tilt_grid(const std::vector<double>& azimuths_deg, double step_deg);

}  // namespace interstice::pour
