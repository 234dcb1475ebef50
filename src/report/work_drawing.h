// A correction as a drawing: the piece seen from outside, foot upwards, with the edge to work and where it begins, or
// the way to move it.
#pragma once

#include <string>
#include <vector>

#include "geometry/profile.h"
#include "rework/corrections.h"

namespace interstice::report {

// The stretch of the piece's arris that a correction works, along the shorter way between its ends on the map; bowl
// frame, mm. The piece has an outline.
std::vector<Eigen::Vector3d> worked_stretch(const geometry::Profile& form, const seams::FitTile& tile,
                                            const seams::Correction& correction);

// A step of the work order as SVG; empty where the piece was not measured.
std::string work_drawing(const seams::FitDocument& fit, const rework::WorkStep& step);

}  // namespace interstice::report
