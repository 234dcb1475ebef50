// A piece's outer face as a low-order surface: a plane, or where the dense heights ask for it, one that is round.
//
// Model: over its plane the face stands z = xx x^2 + xy x y + yy y^2 (x, y in the plane's frame). By least squares,
// robust, from heights far enough inside the piece that no patch compared (surface/height_field.h) reaches its broken
// corner; faces leave a plane by some tenths of a millimetre over the piece (common practice, no source), which is the
// prior. Taken up only where chi-squared of the three numbers is more than noise has. Bowl frame, mm.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "geometry/plane.h"

namespace interstice::edges {

struct FaceShape {
  geometry::PlaneFrame plane;
  Eigen::Vector3d bow_per_mm = Eigen::Vector3d::Zero();  // xx, xy, yy

  // Of the face over its plane, at a place in the plane's frame.
  double bow_mm(const Eigen::Vector2d& at) const {
    return bow_per_mm.dot(Eigen::Vector3d(at.x() * at.x(), at.x() * at.y(), at.y() * at.y()));
  }
  // Of a point over the face.
  double height(const Eigen::Vector3d& point) const {
    return plane.height(point) - bow_mm(plane.drop(point));
  }
};

// Of the face over its plane, at these points (at least one).
double mean_bow_mm(const FaceShape& face, const std::vector<Eigen::Vector3d>& points);

// `points`: of the face, inside its edge; `cell_sd_mm`: of one's height, as if all were independent.
FaceShape face_shape(const geometry::PlaneFrame& plane, const std::vector<Eigen::Vector3d>& points,
                     double cell_sd_mm);

}  // namespace interstice::edges
