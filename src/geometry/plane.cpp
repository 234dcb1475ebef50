#include "geometry/plane.h"

#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <cmath>
#include <stdexcept>

namespace interstice::geometry {

using Eigen::Vector3d;

PlaneFrame make_plane_frame(const Vector3d& origin, const Vector3d& normal, const Vector3d& towards_ex) {
  PlaneFrame f;
  f.origin = origin;
  f.normal = normal.normalized();
  f.ex = (towards_ex - towards_ex.dot(f.normal) * f.normal).normalized();
  f.ey = f.normal.cross(f.ex);
  return f;
}

PlaneFit fit_plane(const std::vector<Vector3d>& points) {
  if (points.size() < 3) throw std::invalid_argument("a plane needs three points");
  PlaneFit fit;
  fit.centroid.setZero();
  for (const Vector3d& p : points) fit.centroid += p;
  fit.centroid /= static_cast<double>(points.size());
  Eigen::Matrix3d scatter = Eigen::Matrix3d::Zero();
  for (const Vector3d& p : points) scatter += (p - fit.centroid) * (p - fit.centroid).transpose();
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(scatter);
  if (eigen.eigenvalues()[1] < 1e-12 * eigen.eigenvalues()[2] || eigen.eigenvalues()[2] <= 0) {
    throw std::invalid_argument("the points lie on a line");
  }
  fit.normal = eigen.eigenvectors().col(0);
  fit.rms = std::sqrt(std::max(0.0, eigen.eigenvalues()[0]) / static_cast<double>(points.size()));
  return fit;
}

}  // namespace interstice::geometry
