// What a correction does to a piece: sliding on the form, turning, and taking wood off a stretch of its edge.
//
// A move is a rigid motion of the whole piece. The centroid of its outer face travels along_mm along the ring
// (counter-clockwise seen from above) and towards_pole_mm towards the pole, both measured in the plane square
// to the form at the centroid's place before the move; height above the form and tilt against it stay, the
// piece is not turned about the form's normal, and then it is turned by turn_deg about its face's normal
// through the face's centroid, counter-clockwise seen from outside.
//
// Sanding takes the wall back by depth over a stretch of the outline, measured in the face square to the
// outline, over the wall's whole height (the bevel stays), and runs out to nothing over kRunOutMm beyond each
// end. Easing leaves the arris where it is and gives the wall a larger bevel, by an angle, over a stretch that runs
// out alike. Places are on the piece as measured, before any move.
//
// Bowl frame, mm, degrees.
#pragma once

#include <Eigen/Geometry>
#include <vector>

#include "solid/mouth.h"

namespace interstice::rework {

constexpr double kRunOutMm = 3.0;

struct Move {
  double along_mm = 0, towards_pole_mm = 0, turn_deg = 0;
  bool is_zero() const { return along_mm == 0 && towards_pole_mm == 0 && turn_deg == 0; }
  bool operator==(const Move&) const = default;
};

// Centroid of the face's area.
Eigen::Vector3d face_centroid(const geometry::PlaneFrame& face, const std::vector<Eigen::Vector3d>& arris);

// after_T_before for a piece whose face centroid is given.
Eigen::Isometry3d motion_of(const Move& move, const geometry::Profile& form, const Eigen::Vector3d& centroid,
                            const Eigen::Vector3d& face_normal);

solid::PieceSolid moved_piece(const solid::PieceSolid& piece, const Eigen::Isometry3d& after_T_before);

// A stretch of a closed outline by arc length from its first vertex, counter-clockwise from `from_mm`; the
// stretch may go over the first vertex (to_mm < from_mm).
struct SandedStretch {
  double from_mm = 0, to_mm = 0;
  double depth_mm = 0;  // off the whole wall
  double ease_deg = 0;  // added to the bevel
};
solid::PieceSolid sanded_piece(const solid::PieceSolid& piece, const std::vector<SandedStretch>& stretches);

double stretch_length(const SandedStretch& stretch, double perimeter_mm);

// How high the wall at an outline point stands, square to the face, and its bevel's tangent.
struct WallShape {
  double height_mm = 0, slope = 0;
};
WallShape wall_shape(const solid::PieceSolid& piece, const std::vector<Eigen::Vector3d>& inward,
                     std::size_t i);

// What easing by an angle takes off the foot of such a wall, mm along the face; and the angle that takes so much.
double foot_taken_mm(const WallShape& wall, double ease_deg);
double ease_for_foot_deg(const WallShape& wall, double foot_mm);

// Share of the depth that is taken at this place: 1 within, falling to 0 over the run-out.
double sanding_weight(const SandedStretch& stretch, double arc_mm, double perimeter_mm);

}  // namespace interstice::rework
