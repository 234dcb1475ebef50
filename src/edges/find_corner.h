// Which of the lines along a piece's edge is its arris, before it is measured.
//
// A broken corner shows two lines: the face's rim, and further out and lower the arris. Each alone looks like
// an edge, and all views agree on either, so that a search for one line may settle on the rim of a wide
// corner and measure the seam too wide by its width. Here both are looked for at once: at every point of the
// outline, for every place d outward and every height h of the corner, a photo under `slope` should show the
// arris at d + slope h (from the side it is the contour) and the rim at d - w, where w may be from half to twice
// what is usual for h, the same in all photos. Photos vote with their steps of light and colour, each by its size
// against what that photo shows away from edges (noise, grain); a second line must have more votes of the photos
// that could tell it from the first than chance gives, or the corner is taken for sharp: of two lines that both
// are there the outer is the arris. The best smooth path of (d, h) round the outline is found by closed dynamic
// programming, again about what was found where it came to the end of its reach. Where another path is nearly as
// good, its odds and how far off it is become a standard uncertainty. Bowl frame, mm.
#pragma once

#include <vector>

#include "edges/edge_steps.h"

namespace interstice::edges {

// How far from `line` places are searched, either way, mm.
inline constexpr double kCornerReach_mm = 1.5;

struct FoundCorner {
  geometry::Polygon outline;     // of the arris, point for point, in the frame of `line`
  std::vector<double> height;    // of the corner above it
  std::vector<double> doubt_mm;  // standard uncertainty of the outline, as another line may be the arris
  ContrastNoise contrast_noise;
};

// `line` lies in the face's plane. aspect: usual width of a broken corner over its height.
FoundCorner find_corner(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const ArrisLine& line, double aspect, const Surroundings& around);

}  // namespace interstice::edges
