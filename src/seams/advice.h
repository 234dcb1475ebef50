// From where to photograph a seam again.
//
// An edge is measured best in views across its own piece that have its wall hidden, some 30 degrees off the
// normal of the form; a seam has two edges, so two places: one on either side, across the seam. Cameras stand
// above the bench. Places are told as a clock face seen from above, a named piece at 12, with the height in
// degrees and the distance.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "geometry/profile.h"
#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::seams {

// Where 12 o'clock is.
struct ClockFace {
  std::string label;
  double theta = 0;  // rad, counter-clockwise seen from above
};

// Hour of an azimuth, 1 to 12.
int hour_at(const ClockFace& clock, double theta);

// Directions (unit, from the seam to the camera) from which two more photos tell most of the seam.
std::vector<Eigen::Vector3d> views_wanted(const FitSeam& seam, const geometry::Profile& form);

// In bench words, one line a photo. Where a photo was already taken from about there, nearer by half.
std::vector<std::string> where_to_photograph(const scan::Scan& scan, const geometry::Profile& form,
                                             const FitSeam& seam, const ClockFace& clock);

// Gives advice to seams that are unseen, and to doubtful ones whose uncertainty is a quarter more than the
// median seam's: there another photo may settle it. An upper edge of the lowest ring stands almost upright under a next
// ring that leans back, and only from low down is the wall above it hidden: where such a seam is unseen or
// doubtful and no photo shows it from below 15 degrees, a low one is asked for too.
void advise(const scan::Scan& scan, const geometry::Profile& form, const ClockFace& clock,
            const std::set<std::string>& lowest_ring, std::vector<FitSeam>& seams);

}  // namespace interstice::seams
