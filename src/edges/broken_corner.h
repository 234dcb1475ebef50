// The corner between a piece's face and its wall, broken by sanding at about 45 degrees: a flat strip, its
// width taken in the face and its height square to it. The widest outline, the arris, is the strip's lower
// end; lengths mm, slopes as in edges/edge_profiles.h.
//
// A view under `slope` sees the strip width + height * slope wide. Below slope -width / height the strip is
// hidden behind the face's rim, which is then the contour: seen from so far aside it lies outward of where
// the arris would be.
#pragma once

#include <algorithm>
#include <cmath>

namespace interstice::edges {

struct BrokenCorner {
  double height_mm = 0.25, height_sd_mm = 0.25;  // some tenths (common practice, no source)
  double width_mm = 0.25, width_sd_mm = 0.08;    // 45 degrees, give or take ten, of that height
  // How far the height differs along one piece's outline: a hand sands a corner, and presses unevenly.
  double uneven_mm = 0.1;
  // Where on the strip an edge is seen, as shares of its width, standard deviations. A view onto the wall
  // sees both ends and may take either for the edge (uniform). A view with the wall hidden sees the lower end
  // as a contour unless the strip is as dark as what lies behind it (triangular, falling to the upper end).
  double wall_spread = 1 / std::sqrt(12.0), hidden_spread = 1 / std::sqrt(18.0);
  // Light comes mostly from above: on walls that look up the strip is bright and the wall darkens slowly
  // under the next ring, so that the edge is seen elsewhere on (or past) the strip: on average at up_share of
  // its width outward of the arris.
  double up_share = 0, up_spread = 1 / std::sqrt(12.0);
};

constexpr double kFaceSd_mm = 0.03;  // of a face's height at its edge, by the dense heights as a whole
constexpr double kLooksUp = 0.5;     // the vertical part of an outward normal from which a wall looks up

// The same corner where it is `height_mm` high: sanded at the same angle, it is as much wider as higher.
inline double aspect(const BrokenCorner& corner) {
  constexpr double kSharp_mm = 0.02;  // lost in the edges' noise: as if sanded at 45 degrees
  return corner.height_mm > kSharp_mm ? corner.width_mm / corner.height_mm : 1;
}

// Standard uncertainty of the aspect.
inline double aspect_sd(const BrokenCorner& corner) {
  return corner.width_sd_mm / std::max(corner.height_mm, 0.1);
}

inline BrokenCorner of_height(const BrokenCorner& corner, double height_mm) {
  BrokenCorner out = corner;
  out.width_mm = aspect(corner) * height_mm;
  out.height_mm = height_mm;
  return out;
}

// How much further out the strip's lower end is seen than its upper one; negative: the strip is hidden.
inline double ends_apart_mm(const BrokenCorner& corner, double slope) {
  return corner.width_mm + corner.height_mm * slope;
}

inline double strip_width_mm(const BrokenCorner& corner, double slope) {
  return std::max(0.0, ends_apart_mm(corner, slope));
}

// Whether the strip is hidden, so that its upper end, the face's rim, is the contour.
inline bool rim_is_contour(const BrokenCorner& corner, double slope) {
  return ends_apart_mm(corner, slope) < 0;
}

// How far outward of the arris' place the rim is seen; 0 where the arris itself can be seen.
inline double rim_shift_mm(const BrokenCorner& corner, double slope) {
  return std::max(0.0, -ends_apart_mm(corner, slope));
}

// How far outward of the arris a view onto the wall sees the edge, on average.
inline double wall_shift_mm(const BrokenCorner& corner, double slope, bool looks_up) {
  return slope > 0 && looks_up ? corner.up_share * strip_width_mm(corner, slope) : 0;
}

// Standard uncertainty of an edge's offset by where on the corner it is seen.
inline double on_corner_mm(const BrokenCorner& corner, double slope, bool looks_up) {
  const double wall = looks_up ? corner.up_spread : corner.wall_spread;
  const double spread = slope > 0 ? wall : corner.hidden_spread;
  // The rim lies at the face's height, which is known no better than the face.
  const double rim = rim_is_contour(corner, slope) ? kFaceSd_mm * (-slope - aspect(corner)) : 0;
  return std::hypot(spread * strip_width_mm(corner, slope), rim);
}

}  // namespace interstice::edges
