// How a measured arris lies against its planned outline, and what that tells of edges that few photos show.
//
// Plans are no ruler: pieces are sawn some tenths off them and a well-seen edge is believed wherever it lies.
// But a photo that shows an edge alone may have followed another line (a shadow, a bead of glue, a neighbour's edge), and
// then nothing else contradicts it. Two photos see the same shadow, and with the corner's height unknown a place and a
// height can be found that suit both. Two explanations compete: the edge is right and as far off the plan as edges of this
// bowl are (normal), or it is another line, anywhere within the search (uniform), and the true edge is where the plan has
// it; likewise for how far it leaves the edge beside it, as a blade cuts no bump of a few millimetres. Plane of the
// planned face, mm.
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

// How far each point leaves the edge beside it: off the plan, less the median of 6 mm on either side.
std::vector<double> off_beside(const std::vector<double>& off_mm);
// Its standard deviation at well-seen points, by the size that one in twenty exceeds, so that the turns at pieces'
// corners count; empty with too few to tell.
std::optional<double> off_beside_sd_mm(std::vector<double> well_seen_mm);

// What is usual for well-seen edges of a bowl, standard deviations.
struct UsualShape {
  double off_plan_mm, off_beside_mm;
};

// How often a line is another one than the edge. Alone: one time in ten (judged: of the readings that other photos can
// check, one in thirty to one in ten is cast out). By two photos: half as often, as many such lines are really there.
inline constexpr double kOtherAlone = 0.1, kOtherByTwo = 0.05;

// Variance, mm2, of an edge that far off what is usual, by the chance that it is another line.
double other_line_variance(double off_mm, double usual_sd_mm, double chance = kOtherAlone);

// From so many photos on an edge is believed wherever it lies: place and height of its corner are known and checked.
inline constexpr double kEnoughPhotos = 3;

// The same for all points of an outline, the larger of both shapes', by how many photos show each
// (edges/trace_arris.h). A line leads astray, and back, over some millimetres: the largest within 3 mm counts.
std::vector<double> other_line_variances(const std::vector<double>& off_mm, const std::vector<double>& photos,
                                         const UsualShape& usual);

}  // namespace interstice::edges
