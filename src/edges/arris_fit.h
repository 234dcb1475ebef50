// The fit of one piece's arris to its readings (model: edges/trace_arris.h): robust least squares, with what is
// known beforehand of the plane, of the corner and of how unevenly it is broken. Heights vary along the
// outline as much as the bowl says, then as this piece's own readings say too.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "edges/arris_unknowns.h"
#include "edges/trace_arris.h"

namespace interstice::edges {

struct ArrisSolution {
  Eigen::VectorXd x;        // the unknowns
  Eigen::MatrixXd inverse;  // of the normal equations' matrix
  double factor = 1;        // robust size of residuals in units of their stated deviation
  // Variance of readings over their stated one; those alike along the outline count once.
  double noise_scale = 1;
  double uneven_mm2 = 0;  // mean square of the heights over the plane (edges/uneven_corner.h)
};

// Weights and residuals of the readings are set.
ArrisSolution fit_readings(const ArrisUnknowns& unknowns, const ArrisLine& line, const ArrisPrior& known,
                           std::vector<ArrisObservation>& observations);

}  // namespace interstice::edges
