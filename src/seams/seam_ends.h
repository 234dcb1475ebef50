// How the ends of a seam and the places along it are called at the bench: by the piece that meets the seam there.
// Bowl frame, mm.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "geometry/index.h"
#include "seams/fit_document.h"

namespace interstice::seams {

// A piece as far as ends are named after it; the outline may be empty.
struct EndPiece {
  const std::string* label;
  int ring;
  const std::vector<Eigen::Vector3d>* arris;
};
using EndPieces = geometry::IndexedVector<geometry::TileIndex, EndPiece>;
EndPieces end_pieces(const FitDocument& fit);

// What lies beyond a place at an end of the seam between two of the pieces: the label of the third whose arris comes
// nearest (within the widest seam and half of it, as far as three rounded corners leave a junction open); else "the
// rim" where both pieces stand on the lowest ring and the place lies below their middles; else "the open side".
std::string name_of_end(const EndPieces& pieces, geometry::TileIndex a, geometry::TileIndex b,
                        const Eigen::Vector3d& place);

// At the first and the last sample, so that a graph along the seam can be told from its mirror image.
std::array<std::string, 2> seam_ends(const FitDocument& fit, const FitSeam& seam);

// A place along a seam, counted from the nearer end.
struct SeamPlace {
  double from_end_mm = 0;
  std::string end;
};
// Empty where the seam has no samples.
std::optional<SeamPlace> place_along(const FitDocument& fit, const FitSeam& seam, const Eigen::Vector3d& at);
// "12 mm from its end at B01"; "at its end at B01" nearer than a millimetre.
std::string place_words(const SeamPlace& place);

}  // namespace interstice::seams
