// A planned piece as a solid standing on the form, and the seams between such pieces, measured in 3-D.
//
// Model: the piece is cut from flat stock: its back is a plane the thickness below its face, and its walls
// run from the face's outline (arris) to the footprint seen along the face's normal (root), point for point.
// Where the form curves away under the back, the piece stands on glue. Bowl frame, mm. The mouth is the
// shortest distance between the arris of one piece and the body of the other.
#pragma once

#include <optional>
#include <vector>

#include "core/verdict.h"
#include "plan/piece_model.h"

namespace interstice::solid {

struct PieceBody {
  plan::PieceFace face;
  std::vector<Eigen::Vector3d> arris;  // closed, counter-clockwise seen from outside
  std::vector<Eigen::Vector3d> root;   // point for point below it, on the flat back
  Eigen::Vector3d middle;              // of a ball around the body
  double radius_mm = 0;
};

PieceBody planned_body(const plan::Plan& plan, geometry::TileIndex tile);

struct MouthPoint {
  Eigen::Vector3d on_arris;  // of the piece asked about
  Eigen::Vector3d on_body;   // of the other piece
  double width_mm;
  bool inside;          // the arris point lies inside the other body: the pieces clash
  double along_mm = 0;  // of the arris that this point stands for: points lie wider apart round a corner
};

// For every arris point of a that is within `reach_mm` of b's body: the nearest point of that body.
std::vector<MouthPoint> mouth_points(const PieceBody& a, const PieceBody& b, double reach_mm);

struct PlannedSeam {
  geometry::TileIndex a, b;
  double mouth_mm = 0;   // narrowest, over both pieces' arrises; negative when the pieces clash
  double throat_mm = 0;  // narrowest distance between the walls, anywhere
  double middle_mm = 0;  // median of the mouth along the seam
  double length_mm = 0;  // of a's arris within `reach` of b
  Eigen::Vector3d at;    // middle of the narrowest mouth
};

// All pairs of pieces whose mouths come within reach_mm over at least min_length_mm.
std::vector<PlannedSeam> planned_seams(const std::vector<PieceBody>& bodies,
                                       double reach_mm = core::kWidestSeam_mm,
                                       double min_length_mm = core::kLeastSeam_mm);

std::vector<PieceBody> planned_bodies(const plan::Plan& plan);

// Half the angle between two faces as seen along their seam, degrees: the bevel that makes the walls of a
// seam run parallel. `across` points from a to b. Positive where the form is convex across the seam.
double even_bevel_deg(const Eigen::Vector3d& normal_a, const Eigen::Vector3d& normal_b,
                      const Eigen::Vector3d& across);

}  // namespace interstice::solid
