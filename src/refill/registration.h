// Where the shell of the dry measurement lies in photos taken after the pour.
//
// Model: the pieces are where they were, so one similarity takes the dry bowl frame to the new scan's:
//     p_now = scale * rotation * p_dry + shift.
// Every piece's measured outline is looked for in its face's plane (edges/outline_registration.h): wood beside
// resin of any colour is an edge, and face grain lies in the plane while a hollow does not. Each gives a shift
// and a turn within its plane; planes of all directions together give the similarity, by least squares with
// weights that fall with a piece's own disagreement (Huber). The scale takes up what two prints of the cards
// and two check lines differ by. mm. Errors: MeasureError when too few pieces are found where they should be.
#pragma once

#include <Eigen/Geometry>
#include <optional>

#include "geometry/index.h"
#include "scan/scan.h"
#include "seams/fit_document.h"
#include "surface/pictures.h"

namespace interstice::refill {

// Standard uncertainty of where the dry outlines lie in the photos of after the pour.
constexpr double kPose_mm = 0.12;

using Pictures = geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>;

struct Registration {
  double scale = 1;
  Eigen::Isometry3d now_T_dry = Eigen::Isometry3d::Identity();  // without the scale: rotation and shift
  std::size_t looked_for = 0;                                   // pieces that were placed when dry
  std::size_t pieces = 0;    // of them, those that show an outline near their places
  std::size_t agreeing = 0;  // found within a millimetre of where all together put them
  double residual_mm = 0;    // median of how far single pieces lie from there
};

Registration register_to_dry(const scan::Scan& scan, const Pictures& pictures, const seams::FitDocument& dry,
                             int threads);

// A first look alone, within 3 mm and 2 degrees, at no more than `most` pieces from all over the shell: how many of
// them agree tells whether the photos are turned as `dry` is at all. Nothing where too few are seen.
std::optional<Registration> first_look(const scan::Scan& scan, const Pictures& pictures,
                                       const seams::FitDocument& dry, std::size_t most, int threads);
// Enough of them agree, and enough of all that were there: those of another shell, or of another turn, do not.
bool found_again(const Registration& registration);

// The same photos with their poses in the dry frame; camera frames are then in dry millimetres.
scan::Scan in_dry_frame(scan::Scan scan, const Registration& registration);

}  // namespace interstice::refill
