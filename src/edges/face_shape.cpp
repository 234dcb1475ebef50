#include "edges/face_shape.h"

#include <Eigen/LU>
#include <cmath>

#include "core/chi_squared.h"

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kBowSd_mm = 0.3;         // a radius from the middle
constexpr std::size_t kLeastPoints = 50;  // fewer say nothing of a shape
using Numbers = Eigen::Matrix<double, 6, 1>;
using Normal = Eigen::Matrix<double, 6, 6>;

struct Fit {
  Numbers x = Numbers::Zero();
  Normal inverse = Normal::Identity();
};

// Reweighted least squares about the plane: height, tilts, and three numbers of the bow, mm at `scale_mm` from the middle.
Fit fit(const geometry::PlaneFrame& plane, const std::vector<Vector3d>& points, double cell_sd_mm,
        double scale_mm) {
  constexpr int kRounds = 8;
  Fit out;
  for (int round = 0; round < kRounds; ++round) {
    Normal a = Normal::Zero();
    a.diagonal().tail<3>().setConstant(1 / (kBowSd_mm * kBowSd_mm));
    Numbers b = Numbers::Zero();
    for (const Vector3d& p : points) {
      const Vector2d q = plane.drop(p) / scale_mm;
      Numbers row;
      row << 1, q.x(), q.y(), q.x() * q.x(), q.x() * q.y(), q.y() * q.y();
      const double z = plane.height(p), r = (z - row.dot(out.x)) / cell_sd_mm;
      const double w = 1 / (cell_sd_mm * cell_sd_mm * (1 + r * r));
      a += w * row * row.transpose();
      b += w * z * row;
    }
    out.inverse = a.inverse();
    out.x = out.inverse * b;
  }
  return out;
}

}  // namespace

double mean_bow_mm(const FaceShape& face, const std::vector<Vector3d>& points) {
  double sum = 0;
  for (const Vector3d& p : points) sum += face.bow_mm(face.plane.drop(p));
  return sum / static_cast<double>(points.size());
}

FaceShape face_shape(const geometry::PlaneFrame& plane, const std::vector<Vector3d>& points,
                     double cell_sd_mm) {
  FaceShape out{plane};
  if (points.size() < kLeastPoints || !(cell_sd_mm > 0)) return out;
  double square = 0;
  for (const Vector3d& p : points) square += plane.drop(p).squaredNorm() / static_cast<double>(points.size());
  const double scale_mm = std::sqrt(2 * square);  // of a round piece, its radius
  const Fit found = fit(plane, points, cell_sd_mm, scale_mm);
  const Vector3d bow = found.x.tail<3>();
  const double chi2 = bow.dot(found.inverse.bottomRightCorner<3, 3>().inverse() * bow);
  if (!core::more_than_noise(chi2, 3)) return out;
  const Vector3d normal = plane.normal - found.x[1] / scale_mm * plane.ex - found.x[2] / scale_mm * plane.ey;
  out.plane = geometry::make_plane_frame(plane.origin + found.x[0] * plane.normal, normal, plane.ex);
  out.bow_per_mm = bow / (scale_mm * scale_mm);
  return out;
}

}  // namespace interstice::edges
