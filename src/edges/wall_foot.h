// Where photos show the lower end of a piece's wall.
//
// Looked at steeply along a wall, a photo shows the face, a dark strip of wall and then the lit form. In the
// arris plane, the strip's far side lies at
//     offset = depth * (slope - tan(bevel))
// outward of the arris (`slope` of the view: edges/edge_profiles.h): the foot of a wall is seen past the arris
// as soon as the view is flatter than the wall. `depth` is that of the place where the wall's line meets the
// form, and a little more: the form is in shade right at the foot. A view hardly flatter than the wall tells
// the bevel whatever the depth; views of different slopes tell both. Lengths mm, bowl frame.
//
// What is not the foot: a line drawn round a planned piece on the form makes the same step, so steps near the
// planned outlines are not taken; what stands in the way (edges/occlusion.h) leaves no reading.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "edges/occlusion.h"
#include "plan/plan.h"
#include "solid/mouth.h"
#include "surface/pictures.h"

namespace interstice::edges {

// A few millimetres of one wall in one photo.
struct FootReading {
  geometry::PhotoIndex photo;
  double slope = 0;
  double depth_mm = 0;             // of the form under the arris along a wall of the planned bevel
  double sd_mm = 0;                // of an offset
  std::vector<double> offsets_mm;  // where the foot may be seen, strongest step first; never empty
  std::size_t at = 0;              // which of the side's points lies above its middle
};

// A stretch of outline along one neighbour, or along none.
struct WallSide {
  std::optional<geometry::TileIndex> faces;
  std::vector<std::size_t> points;  // of the arris, in turn
  std::vector<FootReading> readings;
};

// Of every piece its sides, in the order of the arris, with all readings of their feet. Pieces without an
// outline have none.
geometry::IndexedVector<geometry::TileIndex, std::vector<WallSide>> read_wall_feet(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::Profile& form, const plan::Plan& plan,
    const geometry::IndexedVector<geometry::TileIndex, solid::PieceSolid>& pieces, int threads);

}  // namespace interstice::edges
