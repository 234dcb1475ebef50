#include "edges/photo_errors.h"

#include <Eigen/Geometry>
#include <Eigen/LU>

namespace interstice::edges {

using Eigen::Matrix2d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

namespace {

constexpr std::size_t kReach = 3;       // points on either side: those the bending of an edge ties together
constexpr double kPlaneCosine = 0.087;  // photos that see the plane at less than 5 degrees say nothing

using Gradient = Eigen::Matrix<double, 7, 1>;

// How far the edge is seen off along the direction, per unit of (rotation vector, translation, focal length).
Gradient gradient(const scan::ScannedPhoto& photo, const Vector3d& at, const Vector3d& plane_normal,
                  const Vector3d& direction) {
  const Vector3d sight = (photo.camera_T_bowl * at).normalized();
  const Vector3d normal = photo.camera_T_bowl.linear() * plane_normal;
  const double cosine = normal.dot(sight);
  if (std::abs(cosine) < kPlaneCosine) return Gradient::Zero();
  // A point that moves by m in space is seen where its line of sight meets the plane: m - sight (n.m)/(n.s).
  const Vector3d across = photo.camera_T_bowl.linear() * direction;
  const Vector3d seen = across - normal * (across.dot(sight) / cosine);
  return photo.moved_by_errors(at).transpose() * seen;
}

}  // namespace

std::vector<VectorXd> photo_shares(const TracedArris& traced, std::size_t photos) {
  const std::size_t n = traced.outline.size();
  const auto size = static_cast<Eigen::Index>(photos);
  std::vector<VectorXd> own(n, VectorXd::Zero(size)), out(n, VectorXd::Zero(size));
  VectorXd all = VectorXd::Zero(size);
  for (const ArrisObservation& o : traced.observations) {
    const double w = o.weight / (o.sd_mm * o.sd_mm);
    own[o.point][static_cast<Eigen::Index>(o.photo.value)] += w;
    all[static_cast<Eigen::Index>(o.photo.value)] += w;
  }
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t d = 0; d <= 2 * kReach; ++d) out[i] += own[(i + n + d - kReach) % n];
    if (out[i].sum() <= 0) out[i] = all;
    if (out[i].sum() > 0) out[i] /= out[i].sum();
  }
  return out;
}

Matrix2d shift_covariance(const scan::ScannedPhoto& photo, const geometry::PlaneFrame& plane) {
  Eigen::Matrix<double, 7, 2> by;
  by << gradient(photo, plane.origin, plane.normal, plane.ex),
      gradient(photo, plane.origin, plane.normal, plane.ey);
  return by.transpose() * photo.covariance * by;
}

double place_sd_mm(const scan::ScannedPhoto& photo, const geometry::PlaneFrame& plane) {
  return std::sqrt(std::max(0.0, shift_covariance(photo, plane).trace() / 2));
}

double PhotoErrors::variance_mm2(const Edge& one, const Edge& two, const Vector3d& direction) const {
  if (scan_ == nullptr) return 0;
  double sum = 0;
  for (std::size_t i = 0; i < scan_->photos.size(); ++i) {
    const auto k = static_cast<Eigen::Index>(i);
    const double share1 = (*one.shares)[k], share2 = (*two.shares)[k];
    if (share1 == 0 && share2 == 0) continue;
    const scan::ScannedPhoto& photo = scan_->photos[geometry::PhotoIndex(i)];
    const Gradient q = share1 * gradient(photo, one.at, one.plane_normal, direction) -
                       share2 * gradient(photo, two.at, two.plane_normal, direction);
    sum += q.dot(photo.covariance * q);
  }
  return sum;
}

}  // namespace interstice::edges
