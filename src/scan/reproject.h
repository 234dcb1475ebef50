// Poses and corners in the shape Ceres wants. Bench frame, mm; pixels.
#pragma once

#include <ceres/rotation.h>

#include <Eigen/Geometry>
#include <array>

#include "camera/lens.h"

namespace interstice::scan {

using Pose = std::array<double, 6>;  // rotation vector, translation

inline Pose to_pose(const Eigen::Isometry3d& t) {
  Pose p{};
  const Eigen::AngleAxisd a(t.rotation());
  for (int i = 0; i < 3; ++i) {
    p[static_cast<std::size_t>(i)] = a.angle() * a.axis()[i];
    p[static_cast<std::size_t>(i + 3)] = t.translation()[i];
  }
  return p;
}

inline Eigen::Isometry3d to_isometry(const Pose& p) {
  const Eigen::Vector3d w(p[0], p[1], p[2]);
  Eigen::Isometry3d t = Eigen::Isometry3d::Identity();
  if (w.norm() > 0) t.linear() = Eigen::AngleAxisd(w.norm(), w.normalized()).toRotationMatrix();
  t.translation() = Eigen::Vector3d(p[3], p[4], p[5]);
  return t;
}

template <class T>
void apply(const T* pose, const T* p, T* q) {
  ceres::AngleAxisRotatePoint(pose, p, q);
  for (int i = 0; i < 3; ++i) q[i] += pose[3 + i];
}

// A pixel as it was read, in a photo `height` pixels high.
struct ReadPixel {
  Eigen::Vector2d pixel;
  double sd = 1;
  double height = 1;
};

// A point of the bench before a camera whose focal length is `focus` times its lens' and whose rows shift; the
// residual in units of sd. False behind the camera.
template <class T>
bool reproject(const T* lens, const T* focus, const T* row_shift, const T* camera, const T* p_bench,
               const ReadPixel& read, T* r) {
  T p[3];
  apply(camera, p_bench, p);
  if (p[2] < T(1e-3)) return false;
  T scaled[camera::kLensParameters];
  for (int i = 0; i < camera::kLensParameters; ++i) scaled[i] = lens[i];
  scaled[0] *= focus[0];
  scaled[1] *= focus[0];
  T uv[2];
  camera::brown_project(scaled, p, uv);
  const T down = (uv[1] + 0.5) / read.height - 0.5;
  r[0] = (uv[0] + row_shift[0] * down - read.pixel.x()) / read.sd;
  r[1] = (uv[1] + row_shift[1] * down - read.pixel.y()) / read.sd;
  return true;
}

// A point of a card that bends: lifted out of its plane.
template <class T>
void on_bent_card(const Eigen::Vector3d& p, const T* bend, T* q) {
  q[0] = T(p.x());
  q[1] = T(p.y());
  q[2] = T(p.z()) +
         (bend[0] * (p.x() * p.x()) + bend[1] * (2 * p.x() * p.y()) + bend[2] * (p.y() * p.y())) / 2.0;
}

}  // namespace interstice::scan
