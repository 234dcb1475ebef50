// Whether the pieces measured are the pieces planned: their shapes, apart from where they lie.
//
// A shape is its distance from the centroid to the outline over the angle. Two shapes are compared at the
// turn at which they agree best; their mean difference is left out, since saw cuts run a little wide. What
// remains, as a root mean square in mm, is a fraction of a millimetre for a piece and its plan and a few
// millimetres for two pieces of an irregular layout. Edges found along no edge of a piece (the plan of
// another form, a mirrored plan) do not agree with their plan either.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "plan/plan.h"
#include "seams/fit_document.h"

namespace interstice::seams {

// Distances from the centroid at equal angles, counter-clockwise from the x axis; to the farthest crossing.
std::vector<double> radial_shape(const geometry::Polygon& outline);

// Root mean square difference in mm of two shapes, the second turned by up to `most_turn` (rad) either way.
double shape_difference(const std::vector<double>& a, const std::vector<double>& b, double most_turn);

struct PieceAgreement {
  geometry::TileIndex tile;
  double own_mm = 0;    // against its own plan, turned by up to kMostTurn
  double other_mm = 0;  // against the most similar other piece of the plan, however turned
  std::optional<geometry::TileIndex> shape_of;  // that piece, when the shape is its and not the own
};

struct PlanAgreement {
  std::vector<PieceAgreement> pieces;  // the placed ones
  double median_own_mm = 0;
};

PlanAgreement agreement_with_plan(const FitDocument& fit, const plan::Plan& plan);

// One line for every piece that does not have its planned shape; none of its seams is left "clear", since
// what was measured may be no edge of it. Throws MeasureError when most pieces are like that: then the plan
// is another's, and no label is right.
std::vector<std::string> check_against_plan(FitDocument& fit, const plan::Plan& plan);

}  // namespace interstice::seams
