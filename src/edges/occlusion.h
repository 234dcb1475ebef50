// Which pieces stand between a photo and a place on another piece's outline.
//
// Model: a piece hides what lies below the plane of its face where the line to the camera leaves through its
// outline (its walls slope inwards below the face, so the face is its widest cut). Outlines are taken a
// little larger than they are known, so that a photo that only just misses a piece does not count as clear
// sight. Bowl frame, mm.
#pragma once

#include <vector>

#include "geometry/plane.h"
#include "geometry/polygon.h"

namespace interstice::edges {

class Occluders {
 public:
  // Of one piece; `margin_mm`: how well its outline is known. Indices are those of the calls, from 0.
  void add(const geometry::PlaneFrame& face, const geometry::Polygon& outline, double margin_mm);
  // A piece that is not there.
  void add_none() { faces_.push_back({}); }

  // Whether any piece but `self` hides `place` from `camera`; one whose face is less than `level_mm`
  // above the place does not.
  bool hidden(const Eigen::Vector3d& place, const Eigen::Vector3d& camera, std::size_t self,
              double level_mm) const;

 private:
  struct Face {
    geometry::PlaneFrame frame;
    geometry::Polygon outline;
    Eigen::Vector2d middle{0, 0};
    double radius = -1;
  };
  std::vector<Face> faces_;
};

}  // namespace interstice::edges
