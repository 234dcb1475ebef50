// The pieces of a measured shell as solids that can be asked "how far outside your wall is this place?".
//
// Model: a piece lies below its outer face and inside its walls. The face is a little above the plane of the
// arris (its widest outline), which is broken; between the two the walls are taken upright. At depth d below
// the arris plane the outline is the arris moved inward by d x slope, slope being the wall's lean (tan of the
// bevel as built, from arris and root). It is cut from flat stock, so its underside is a plane one thickness
// below the outer face: on a round form it touches near the middle and hovers a little at the edges. Bowl
// frame, mm.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "plan/plan.h"
#include "seams/fit_document.h"
#include "solid/mouth.h"

namespace interstice::channels {

// One piece's distances, tabulated in its face plane on a grid and interpolated linearly.
class PieceField {
 public:
  static constexpr double kReach_mm = 9.0;  // how far outside the arris the table goes
  static constexpr double kStep_mm = 0.5;

  PieceField(const solid::PieceSolid& solid, const geometry::Profile& form, double face_above_mm = 0);

  struct Reading {
    double outside_mm;       // in the face plane from the arris; negative inside; kReach_mm or more: far away
    double slope;            // inward lean of the nearest wall per mm of depth
    double arris_height_mm;  // of the nearest arris point above the form
  };
  Reading read(const Eigen::Vector2d& in_face) const;

  const geometry::PlaneFrame& face() const { return face_; }  // the plane of the arris
  double face_above_mm() const { return face_above_mm_; }
  // Box round everything the table covers, on the map.
  const Eigen::Vector2d& map_low() const { return map_low_; }
  const Eigen::Vector2d& map_high() const { return map_high_; }

 private:
  void tabulate(const solid::PieceSolid& solid, const geometry::Profile& form);

  geometry::PlaneFrame face_;
  double face_above_mm_;
  Eigen::Vector2d low_, map_low_, map_high_;
  std::size_t nx_ = 0, ny_ = 0;
  std::vector<Reading> table_;
};

struct ShellSolids {
  geometry::Profile form;
  double thickness_mm = 0;                               // of the stock
  std::vector<std::optional<solid::PieceSolid>> pieces;  // in the plan's order; empty where nothing is placed
  // The outer face of each piece over the plane of its arris; empty: they are one.
  std::vector<double> face_above_mm;
};

// The placed pieces as measured; a placed piece whose outline the fit does not give is taken from the plan,
// moved and turned as the fit says. Throws InputError when the fit does not belong to the plan.
ShellSolids solids_of(const seams::FitDocument& fit, const plan::Plan& plan);

}  // namespace interstice::channels
