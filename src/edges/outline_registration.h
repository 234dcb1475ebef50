// Where a piece's outline lies in its face plane, to about half a millimetre, from the photos.
//
// The planned outline is shifted, turned and grown until it runs along edges in all views at once; then every
// point is moved along its normal to the best smooth path of edges (closed dynamic programming). The result
// starts the fine measurement.
#pragma once

#include "edges/edge_profiles.h"

namespace interstice::edges {

struct PlacedOutline {
  geometry::Polygon outline;  // counter-clockwise in the frame, points about `spacing_mm` apart
  Eigen::Vector2d shift{0, 0};
  double turn = 0;        // rad
  double support = 0;     // mean edge contrast along the outline, grey levels
  double background = 0;  // the same for the median of all placements tried
};

struct PlaceOptions {
  double shift_mm = 4.0, turn_deg = 6.0, growth_mm = 0.8;  // searched either way
  double path_mm = 3.0;                                    // reach of the path search along the normals
  double spacing_mm = 0.75;
  Surroundings around;
};

PlacedOutline place_outline(const scan::Scan& scan,
                            const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                            const geometry::PlaneFrame& frame, const geometry::Polygon& planned,
                            const PlaceOptions& options);

}  // namespace interstice::edges
