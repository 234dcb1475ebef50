// Brightness across an outline, as the photos show it.
//
// An outline lies in a plane (a piece's face); at each of its points the photos are read along the outward
// normal in that plane. For a view, `slope` = (camera direction . outward normal) / (camera direction . plane
// normal): negative where the camera stands on the piece's own side, so that the wall below the arris is
// hidden and the arris is the piece's contour; a point lying z above the plane is seen shifted outward by
// -slope * z. Lengths mm in the plane; brightness in grey levels.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "edges/occlusion.h"
#include "geometry/plane.h"
#include "geometry/polygon.h"
#include "surface/pictures.h"

namespace interstice::edges {

struct OutlineView {
  geometry::PhotoIndex photo;
  double slope = 0;
  double cosine = 0;                              // between plane normal and camera direction
  double px_per_mm = 0;                           // along the outward normal
  Eigen::Vector2d at;                             // picture pixel of the outline point
  Eigen::Vector2d per_mm_normal, per_mm_tangent;  // picture pixels per mm
};

// The other pieces, for leaving out photos in which one of them hides the edge.
struct Surroundings {
  const Occluders* pieces = nullptr;
  std::size_t self = 0;
  double reach_mm = 0.6;  // of what is looked at on either side of the edge
  double level_mm = 0.2;  // pieces standing out no further than this hide nothing
};

// All photos in whose frame the point lies, whose view is at least `least_cosine` square to the plane, and
// from which no other piece hides the point or the face beside it.
std::vector<OutlineView> views_of_point(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::PlaneFrame& frame, const Eigen::Vector2d& p, const Eigen::Vector2d& normal,
    double least_cosine, const Surroundings& around = {});

// Brightness at offsets first, first + step, ... (mm along the normal), each the mean over `across_mm` of
// tangent with samples about a pixel apart. NaN outside the picture.
void read_profile(const surface::Picture& picture, const OutlineView& view, double first_mm, double step_mm,
                  double across_mm, std::vector<float>& values);

// The same of the colour picture: light, and two differences of colour (red - green, and yellow - blue), each
// on the scale of a grey level.
using ColourProfile = std::array<std::vector<float>, 3>;
void read_colour_profile(const surface::Picture& picture, const OutlineView& view, double first_mm,
                         double step_mm, double across_mm, std::size_t count, ColourProfile& values);

}  // namespace interstice::edges
