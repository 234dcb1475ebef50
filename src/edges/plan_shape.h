// How a measured arris lies against its planned outline, and what that tells of edges one photo alone shows.
//
// Plans are no ruler: pieces are sawn some tenths off them and a well-seen edge is believed wherever it lies.
// But a photo that shows an edge alone may have followed another line (a shadow, a neighbour's edge), and
// then nothing else contradicts it. Two explanations compete: the edge is right and as far off the plan as
// edges of this bowl are (normal), or it is another line, anywhere within the search (uniform), and the true
// edge is where the plan has it. Plane of the planned face, mm.
#pragma once

#include <optional>
#include <vector>

#include "plan/piece_model.h"

namespace interstice::edges {

// The measured piece against the planned one: moved along the planned face's axes and turned; points'
// distances outward of the planned outline so moved, less their mean (saw cuts run a little wide all round).
struct PlanShape {
  Eigen::Vector2d moved_mm{0, 0};
  double turned_rad = 0;
  std::vector<double> off_mm;
};
PlanShape shape_against_plan(const plan::PieceFace& planned, const std::vector<Eigen::Vector3d>& arris);

// Standard deviation of well-seen edges off their planned shape; empty with too few to tell.
std::optional<double> off_plan_sd_mm(std::vector<double> well_seen_off_mm);

// Variance, mm2, of an edge one photo alone shows that far off its planned shape, by the chance that it is
// another line.
double other_line_variance(double off_mm, double off_plan_sd_mm);

// The same for all points of an outline, by how far each is shown by one photo alone (0 to 1,
// edges/trace_arris.h). A line leads astray, and back, over some millimetres: the largest within 3 mm counts.
std::vector<double> other_line_variances(const std::vector<double>& off_mm, const std::vector<double>& alone,
                                         double off_plan_sd_mm);

}  // namespace interstice::edges
