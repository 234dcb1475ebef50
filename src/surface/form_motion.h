// Whether the form lay in one place in all photos.
//
// Cards that agree say nothing of the form: it may have been pushed over the bench between two photos. Photos
// show it in places that differ from neighbour to neighbour (surface/pairwise_shift.h); one place a photo
// is solved from them, and the place that most photos share is the form's. Frame `bowl`, mm.
#pragma once

#include <vector>

#include "surface/pairwise_shift.h"

namespace interstice::surface {

struct ElsewhereIn {
  geometry::PhotoIndex photo;
  double moved_mm = 0;  // from where most photos have it
};

// How well each photo's own position settles where over the bench it has the form: standard deviation, mm, in
// the worst direction at `middle`, from its covariance.
std::vector<double> place_sds(const scan::Scan& scan, const Eigen::Vector3d& middle);

// The photos that show the form elsewhere, by 0.6 mm or more and by four of their standard deviations
// (place_sds(), one a photo). Photos that no sure difference ties to most of the others are not accused.
std::vector<ElsewhereIn> form_elsewhere(const std::vector<PlaceDifference>& differences,
                                        const std::vector<double>& place_sd_mm);

}  // namespace interstice::surface
