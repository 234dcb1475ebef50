// Laying one scan of a piece over another.
//
// Model: both scans stand in a bowl frame whose axis is the form's, so they differ by a turn about the axis
// and by what the two seats of the form differ (a little shift and tilt). Pieces are matched by label. Only
// directions in each piece's face count, never its height: turning takes wood off along the faces' normals,
// and sanding a whole shell must not look like a shift of it. Robust: pieces that were moved do not pull the
// rest along. a_T_b takes points of scan b into the frame of scan a; mm.
#pragma once

#include <Eigen/Geometry>
#include <optional>

#include "seams/fit_document.h"

namespace interstice::archive {

struct Alignment {
  Eigen::Isometry3d a_T_b = Eigen::Isometry3d::Identity();
  double turn_deg = 0;                // about the axis, counter-clockwise, of scan b to lie on scan a
  double shift_mm = 0, tilt_deg = 0;  // what remains besides the turn
  double rms_mm = 0;                  // of the pieces that agree, in their faces
  std::size_t pieces = 0;             // that both scans show
  std::size_t agreeing = 0;
  bool turn_only = false;  // too few pieces for more
};

// Throws MeasureError when no piece is placed in both.
Alignment align(const seams::FitDocument& a, const seams::FitDocument& b);

// How a piece lies in b against a, in a's face plane: x along the ring, y towards the pole, turn
// counter-clockwise from outside; `in_mm` is how far the face came in along a's normal at the face's centre.
struct PieceShift {
  Eigen::Vector2d moved_mm{0, 0};
  double turned_deg = 0;
  double in_mm = 0;
};
std::optional<PieceShift> piece_shift(const seams::FitTile& a, const seams::FitTile& b,
                                      const Eigen::Isometry3d& a_T_b);

// Area centroid of a placed piece's face; its origin when there is no outline.
Eigen::Vector3d face_centre(const seams::FitTile& tile);

// The placed pieces of both with the same label.
std::vector<std::pair<const seams::FitTile*, const seams::FitTile*>> matched_pieces(
    const seams::FitDocument& a, const seams::FitDocument& b);

}  // namespace interstice::archive
