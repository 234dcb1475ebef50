// The pieces as they were really cut and glued.
#pragma once

#include "renderer/distance.h"
#include "renderer/layout.h"

namespace interstice::renderer {

struct BuiltPiece {
  std::string label;
  int ring = 1;
  bool placed = true;
  Frame frame;                 // on the face: z = 0 there, outward positive
  Outline outline;             // widest outline, in the frame's x, y
  double broken_arris_mm = 0;  // the widest outline lies this far below the face
  std::vector<double>
      corner_mm;  // by point of the outline, in place of broken_arris_mm; none: the same all round
  double thickness_mm = 0;
  double bevel_deg = 0;
  std::vector<double>
      bevel_at_deg;   // by point of the outline, in place of bevel_deg; none: the same all round
  double bow_mm = 0;  // the face's middle over its edge (mean): a paraboloid about z, down from z = 0
  Eigen::Vector2d moved_mm = Eigen::Vector2d::Zero();  // along the ring (counter-clockwise), towards the pole
  double turned_deg = 0;                               // counter-clockwise seen from outside

  double corner_at(std::size_t point) const { return corner_mm.empty() ? broken_arris_mm : corner_mm[point]; }
  double bevel_at(std::size_t point) const { return bevel_at_deg.empty() ? bevel_deg : bevel_at_deg[point]; }

  // Levels from the face (drawn in by the round on the arris) over the widest outline to the root.
  std::vector<LevelRing> levels() const;
  // Of the face, in the frame: z, and how it falls along x and y.
  double face_z(const Eigen::Vector2d& p) const;
  Eigen::Vector2d face_slope(const Eigen::Vector2d& p) const;
  // From the face's edge, which is not among them, towards its middle.
  std::vector<Ring> face_rings(const Ring& edge) const;
  Body body() const;
};

// Builds every piece of the layout; those not placed keep only label and ring. Pieces that would run into
// each other are put down more carefully (their errors shrink) until every pair is at least 0.05 mm apart.
std::vector<BuiltPiece> build_pieces(const Form& form, const SceneOptions& options, const Layout& layout);

// Index in levels() of the widest outline.
std::size_t widest_level(const BuiltPiece& piece);

}  // namespace interstice::renderer
