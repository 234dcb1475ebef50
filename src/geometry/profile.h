// The form as a surface of revolution, and the map drawn on it.
//
// Frame `bowl`: the form's axis is z, the rim plane z = 0, the foot up; theta counter-clockwise seen from
// above; millimetres. The meridian is a curve (r, z) from the pole (r = 0) to the rim, interpolated through
// its given points by a cubic in arc length (tangents from three-point parabolas), so position and normal are
// continuous. Beyond the rim it goes on straight, so that pieces may stand a little over it.
//
// Map: rho = arc length from the pole, (u, v) = rho (cos theta, sin theta): the polar azimuthal equidistant
// map of cartography (Snyder, USGS Professional Paper 1395, 1987, chapter 25) carried over to a general
// meridian. It stretches along the rings by rho / r; never measure a width on it.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace interstice::geometry {

struct MeridianPoint {
  Eigen::Vector2d rz;       // position, mm
  Eigen::Vector2d tangent;  // unit, from pole to rim
  Eigen::Vector2d normal;   // unit, outward (away from the axis or up)
};

// A place given by map and height above the form along its normal, mm.
struct MapPoint {
  Eigen::Vector2d uv;
  double height = 0.0;
};

class Profile {
 public:
  Profile() = default;
  // Needs at least 3 points, first r = 0, r > 0 after it, no repeated points; throws std::invalid_argument.
  explicit Profile(std::vector<Eigen::Vector2d> rz);

  const std::vector<Eigen::Vector2d>& points() const { return rz_; }
  double length() const { return arc_.back(); }  // pole to rim along the meridian, mm
  MeridianPoint at(double rho) const;            // any rho >= 0

  Eigen::Vector3d point(const Eigen::Vector2d& uv, double height = 0.0) const;
  Eigen::Vector3d normal(const Eigen::Vector2d& uv) const;
  // Unit vectors along the ring (counter-clockwise) and towards the pole; at the pole, x and y.
  Eigen::Vector3d along_ring(const Eigen::Vector2d& uv) const;
  Eigen::Vector3d towards_pole(const Eigen::Vector2d& uv) const;

  // Foot of the perpendicular on the form: the nearest point of the meridian in the point's half-plane.
  MapPoint locate(const Eigen::Vector3d& p) const;

  // The same form with every meridian point moved by offset(rho) along its normal; `rho` as on this profile.
  Profile offset(const std::vector<double>& offset_mm_at_points) const;

 private:
  double nearest_rho(const Eigen::Vector2d& rz) const;

  std::vector<Eigen::Vector2d> rz_;
  std::vector<Eigen::Vector2d> tangent_;  // d(rz)/d(arc) at the points
  std::vector<double> arc_;
};

}  // namespace interstice::geometry
