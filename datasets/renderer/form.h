// The form of a rendered scene: a surface of revolution from an analytic meridian, tabulated finely.
//
// Frame `bowl`: axis z, rim plane z = 0, foot up, theta counter-clockwise from above; mm. Map: rho = arc
// length from the pole, (u, v) = rho (cos theta, sin theta), always on the drawn form, as plans are.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "renderer/options.h"

namespace interstice::renderer {

// A frame standing on the form: x along the ring (counter-clockwise), y towards the pole, z outward.
struct Frame {
  Eigen::Vector3d origin = Eigen::Vector3d::Zero();
  Eigen::Matrix3d axes = Eigen::Matrix3d::Identity();  // columns x, y, z in the bowl frame

  Eigen::Vector3d to_bowl(const Eigen::Vector3d& p) const { return origin + axes * p; }
  Eigen::Vector3d from_bowl(const Eigen::Vector3d& p) const { return axes.transpose() * (p - origin); }
};

class Form {
 public:
  explicit Form(const FormOptions& options);

  double length_mm() const { return arc_.back(); }    // pole to rim along the meridian
  Eigen::Vector2d meridian(double rho) const;         // (r, z); straight on beyond the rim
  Eigen::Vector2d meridian_normal(double rho) const;  // outward
  double error_mm(double rho) const;                  // true form minus drawing, along the normal
  Eigen::Vector3d point(const Eigen::Vector2d& uv, double height_mm = 0) const;
  Frame frame(const Eigen::Vector2d& uv, double height_mm) const;
  // Foot of the perpendicular from p on the drawing, on the map.
  Eigen::Vector2d locate(const Eigen::Vector3d& p) const;
  // The same to about 0.1 mm for points within a millimetre or two of the form: quick, for paint.
  Eigen::Vector2d locate_near(const Eigen::Vector3d& p) const;
  // Where the line p + s d, s near 0, meets the drawing; on the map.
  Eigen::Vector2d project(const Eigen::Vector3d& p, const Eigen::Vector3d& d) const;
  // (r, z) from the pole to the rim in `count` points of equal spacing.
  std::vector<Eigen::Vector2d> drawing(int count) const;

 private:
  Eigen::Vector2d rim_tangent() const;

  double error_scale_;
  std::vector<Eigen::Vector2d> rz_;
  std::vector<double> arc_;
  std::vector<double> arc_by_angle_;  // by atan2(r, z) in even steps, for locate_near
};

}  // namespace interstice::renderer
