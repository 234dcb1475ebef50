// Spline curves of drawings as chords.
#pragma once

#include <vector>

#include "layout/form_lines.h"

namespace interstice::layout {

// A rational B-spline by knots, control points and weights, or a curve through points where no control points
// are given.
struct SplineCurve {
  int degree = 3;
  std::vector<double> knots, weights;
  Polyline control, through;
};

// kChords a span; empty where the numbers do not make a curve. Evaluated by de Boor's algorithm (C. de Boor, A
// Practical Guide to Splines, 1978, chapter X); through points by cubic pieces with tangents from the
// neighbours' chords.
Polyline chords_of(const SplineCurve& spline);

}  // namespace interstice::layout
