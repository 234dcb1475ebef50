// Making a layout: irregular cells of near-equal size over a form.
//
// Method. Seeds stand in staggered rings and are relaxed on the surface (each moves towards the middle of the
// part of the form nearest to it, distances in 3-D, not on the map) only so far that shapes stay odd. The
// cells' corners are then moved to bring areas close together, lengthen short seams, open sharp corners and
// break seams that would run on level round the bowl. Everything follows from the options and the seed number
// alone.
#pragma once

#include <cstdint>

#include "layout/cell_complex.h"
#include "layout/seam_solve.h"
#include "plan/plan.h"

namespace interstice::layout {

// How far pieces come out of true, standard deviations (common practice, no source: 0.3 mm at a bandsaw for a
// cut edge, 0.4 mm for a piece pressed into hot glue by hand).
struct GapSpread {
  double cut_mm = 0.3;   // of one cut edge
  double glue_mm = 0.4;  // of one piece's place, across a seam
};

// Smallest fill plus what two edges and two pieces may take from it in 19 seams of 20 (one-sided 95 %,
// core::kGuard standard deviations), rounded up to a tenth.
double default_gap_mm(double smallest_fill_mm, const GapSpread& spread);

// Planned mouths are meant to be as near to the chosen gap as this. Where pieces are large for the curve of
// the form their faces meet at different heights and it cannot always be reached; Layout::solved says what
// was.
inline constexpr double kTrueToGap_mm = 0.08;

// More pieces than this nobody glues on by hand, and dividing the form would take hours.
inline constexpr int kMostPieces = 1500;

struct LayoutOptions {
  std::string name = "plan";
  double piece_size_mm = 40;  // side of a square of a cell's area, measured on the form, gap included
  double tile_thickness_mm = 14;
  double bevel_deg = -1;  // negative: from the geometry (bevel_for_plan_deg)
  double smallest_fill_mm = 3.0;
  double gap_mm = -1;  // negative: default_gap_mm
  GapSpread spread;
  double irregularity = 0.5;  // 0 even to 1 wild
  std::uint32_t seed = 1;
  int relax_rounds = 8;
};

// Throws InputError naming option, value and limit.
void check_options(const LayoutOptions& options, const geometry::Profile& form);

struct Layout {
  plan::Plan plan;
  CellComplex cells;
  SeamSolveResult solved;
};
// Throws InputError when no layout of this size fits the form.
Layout make_layout(const geometry::Profile& form, const LayoutOptions& options);

}  // namespace interstice::layout
