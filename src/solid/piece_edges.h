// The edges of a planned piece's face: which neighbour each faces and the bevel to cut it at.
#pragma once

#include <string>
#include <vector>

#include "solid/piece_body.h"

namespace interstice::solid {

enum class EdgeFaces { piece, rim, open };  // a neighbour, the bench, or nothing (a bare place)

struct PieceEdge {
  EdgeFaces faces = EdgeFaces::open;
  geometry::TileIndex neighbour;     // for EdgeFaces::piece
  std::size_t first = 0, count = 0;  // points of the body's arris
  double length_mm = 0;
  // Cut so, the two walls of a seam run parallel: half the angle between the faces. Towards the bench: the
  // wall lies flat on it. Measured from square to the face; positive leaves the back smaller than the face.
  double bevel_deg = 0;
};

struct PieceGeometry {
  std::vector<PieceEdge> edges;  // counter-clockwise from the first point of the arris
  double recommended_bevel_deg =
      0;  // one setting for all edges to neighbours: the largest, rounded up to whole degrees
  double face_area_mm2 = 0;
  double drawn_area_mm2 = 0;       // of the footprint, on the form
  double enlargement_percent = 0;  // of lengths, face against the drawn shape
  double rocking_gap_mm = 0;  // largest distance between flat back and form under the piece; negative: the
                              // form rises into the back and the piece rocks
  double inscribed_mm = 0;    // diameter of the largest circle in the face
};

std::vector<PieceGeometry> piece_geometries(const plan::Plan& plan, const std::vector<PieceBody>& bodies);

}  // namespace interstice::solid
