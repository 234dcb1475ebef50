// From cells to pieces: takes the gaps out of a division of the form so that, with every face a plane over
// its own footprint's centre, the mouths come out at the chosen gap in 3-D.
//
// Method. A seam is a centre line with a half width s along it. In a piece's face plane the cell is
// projected, the region within s of each of its seams is taken away, what lies below the bench is cut off,
// and corners are rounded: that is the arris wanted. Shrinking it by thickness x tan(bevel) and going down
// the face's normal to the form gives the footprint that plan.json holds, from which planned_face() makes
// this very arris again. The footprint's centre moves the plane and the true mouth differs a little from 2 s,
// so both are iterated: the mouths are measured on the bodies, s follows them by a smooth curve along each
// seam, until all are right.
#pragma once

#include "layout/cell_complex.h"
#include "plan/plan.h"

namespace interstice::layout {

struct SeamSolveOptions {
  double gap_mm = 4.0;
  double corner_radius_mm = 2.0;  // of the footprint; the face has it larger by what the walls recede
  double tolerance_mm = 0.04;     // of every mouth
  int max_rounds = 24;
};

struct SeamSolveResult {
  double worst_error_mm = 0;  // largest deviation of a seam's narrowest mouth from the gap
  int rounds = 0;
};

// Fills plan.tiles (labels and rings by ring) from the complex; profile, thickness and bevel are taken from
// the plan. Throws InputError when a cell is too small to leave a piece.
SeamSolveResult solve_seams(const CellComplex& complex, const SeamSolveOptions& options, plan::Plan& plan);

// The largest half dihedral over the seams, rounded up to half a degree: with this bevel no throat is
// narrower than its mouth. From plan.tiles, or from the cells themselves.
double bevel_for_plan_deg(const CellComplex& complex, const plan::Plan& plan);
double cells_bevel_deg(const CellComplex& complex, plan::Plan plan);

}  // namespace interstice::layout
