// A plane with axes of its own, in the bowl frame, mm.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace interstice::geometry {

struct PlaneFrame {
  Eigen::Vector3d origin = Eigen::Vector3d::Zero();
  Eigen::Vector3d ex = Eigen::Vector3d::UnitX();
  Eigen::Vector3d ey = Eigen::Vector3d::UnitY();
  Eigen::Vector3d normal = Eigen::Vector3d::UnitZ();  // ex x ey, outward for faces

  Eigen::Vector3d lift(const Eigen::Vector2d& p) const { return origin + p.x() * ex + p.y() * ey; }
  Eigen::Vector2d drop(const Eigen::Vector3d& p) const {  // orthogonal projection
    return {(p - origin).dot(ex), (p - origin).dot(ey)};
  }
  double height(const Eigen::Vector3d& p) const { return (p - origin).dot(normal); }
};

// A frame with the given normal whose ex lies as near as possible to `towards_ex`.
PlaneFrame make_plane_frame(const Eigen::Vector3d& origin, const Eigen::Vector3d& normal,
                            const Eigen::Vector3d& towards_ex);

struct PlaneFit {
  Eigen::Vector3d centroid;
  Eigen::Vector3d normal;  // unit, sign arbitrary
  double rms = 0.0;        // of the orthogonal distances, mm
};

// Least-squares plane by orthogonal distance; needs three points that are not on a line
// (throws std::invalid_argument).
PlaneFit fit_plane(const std::vector<Eigen::Vector3d>& points);

}  // namespace interstice::geometry
