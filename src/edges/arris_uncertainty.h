// How well the points of a traced arris are known (JCGM 100: a budget of independent parts).
//
// - Noise: the covariance of the fit, by the size of the residuals, by how many neighbouring readings err
//   alike and by degrees of freedom; more where photos contradict one another.
// - Corner: where on the broken corner an edge is seen is the same over a whole side, and much the same on
//   sides of like direction; so it moves the arris plane, and every edge with it.
// - Photos: each photo's place is off as its covariance says. What that does to an edge directly, both edges
//   of a seam share (edges/photo_errors.h); what it does to the heights of this piece alone counts here.
// - Lone: an edge that one photo alone shows.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "edges/arris_unknowns.h"
#include "edges/trace_arris.h"

namespace interstice::edges {

// What the uncertainty is of: unknowns and readings of a piece after the fit.
struct ArrisFit {
  const scan::Scan& scan;
  const ArrisUnknowns& unknowns;
  const std::vector<ArrisObservation>& observations;
  const Eigen::MatrixXd& inverse;  // of the normal equations' matrix
  double factor;                   // robust size of residuals in units of their stated deviation
};

// How many neighbouring points say the same: the integrated autocorrelation of residuals along the outline,
// view by view (1 if they are independent). Light, grain and a sharpened picture err over several points
// alike, so that many points tell less than their number.
double shared_points(const ArrisUnknowns& u, const std::vector<ArrisObservation>& observations,
                     const Eigen::VectorXd& x);

// How many photos read a point's contour, on average: light and corner are the same for all of them.
double views_of_contour(const std::vector<ArrisObservation>& observations, std::size_t points);

// Contour readings over those that are left when what the unknowns take is counted: where one or two photos
// show a point, the outline follows their errors, and residuals are smaller than errors.
double per_freedom(const ArrisUnknowns& u, const std::vector<ArrisObservation>& observations,
                   const Eigen::MatrixXd& inverse);

// How many photos that agree show the edge about each point: within 3 mm, those that read half of it whole.
std::vector<double> photos_about(const std::vector<ArrisObservation>& observations, std::size_t points);

// Of all points (edges/trace_arris.h). photos: photos_about() each; noise_scale: variance of readings over their
// stated one.
PointErrors point_errors(const ArrisFit& fit, const geometry::PlaneFrame& frame,
                         const std::vector<double>& photos, double noise_scale);

// Half-widths of what all edges share (edges/trace_arris.h).
std::vector<double> shared_half_widths(const std::vector<ArrisObservation>& observations, std::size_t points);

}  // namespace interstice::edges
