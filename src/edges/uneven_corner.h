// How the height of a broken corner varies along one piece's outline, as unknowns at knots.
//
// A hand sands a corner unevenly: heights are alike over a stroke's length and independent far apart (a
// Gaussian process round the closed outline, squared exponential). How much they vary, the bowl's other
// pieces tell beforehand, and this piece's own readings, widening or narrowing it. Readings along an edge err
// together, so that they tell less of the heights than their number (`alike`, the variance of readings over
// their stated one with all of that in it).
#pragma once

#include "edges/arris_unknowns.h"

namespace interstice::edges {

// Inverse of the knots' correlations.
Eigen::MatrixXd knots_precision(const ArrisUnknowns& u);

// Mean square of the heights at the knots about the plane, by what the fit says of each and how well, mm2.
// `now`: heights at the knots before the fit.
double uneven_square(const ArrisUnknowns& u, const Eigen::VectorXd& now, const Eigen::VectorXd& x,
                     const Eigen::MatrixXd& inverse, double alike);

// What is known of one piece's unevenness: the bowl's, and its own mean square for as many independent
// places as its outline has; standard deviation, mm.
double uneven_of_piece(const ArrisUnknowns& u, double bowl_mm, double own_square_mm2);

}  // namespace interstice::edges
