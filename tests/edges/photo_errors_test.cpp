// What a photo's error does to a width, against the same by tracing lines of sight.
#include "edges/photo_errors.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <cmath>
#include <random>

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Matrix3d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;
using Sample = Eigen::Matrix<double, 7, 1>;

scan::ScannedPhoto photo_from(const Vector3d& centre, const Vector3d& at, double sd_deg, double sd_mm,
                              double focal) {
  scan::ScannedPhoto photo;
  const Vector3d z = (at - centre).normalized(), x = z.cross(Vector3d::UnitZ()).normalized();
  Matrix3d rotation;
  rotation << x.transpose(), z.cross(x).transpose(), z.transpose();
  photo.camera_T_bowl = Isometry3d(rotation);
  photo.camera_T_bowl.translation() = -rotation * centre;
  Sample sd;
  sd << Vector3d(1, 1.2, 0.7) * sd_deg * 0.0174533, Vector3d(1, 0.8, 2) * sd_mm, focal;
  photo.covariance = (sd * sd.transpose()) * 0.3;  // with correlations
  photo.covariance.diagonal() += 0.7 * sd.cwiseAbs2();
  return photo;
}

// Where an edge that really lies at `at` is believed to lie, in its plane, by a photo whose pose is off.
Vector3d believed(const scan::ScannedPhoto& photo, const Sample& error, const Vector3d& at,
                  const Vector3d& normal) {
  const Vector3d turn = error.head<3>();
  Isometry3d really = photo.camera_T_bowl;
  really.linear() = Eigen::AngleAxisd(turn.norm(), turn.normalized()).toRotationMatrix() * really.linear();
  really.translation() =
      Eigen::AngleAxisd(turn.norm(), turn.normalized()) * photo.camera_T_bowl.translation() +
      Vector3d(error.segment<3>(3));
  const Vector3d p = really * at;
  const Vector3d ray(p.x() / p.z() * (1 + error[6]), p.y() / p.z() * (1 + error[6]), 1);
  const Isometry3d back = photo.camera_T_bowl.inverse();
  const Vector3d way = back.linear() * ray, from = back.translation();
  return from + way * ((at - from).dot(normal) / way.dot(normal));
}

TEST(PhotoErrors, AgreeWithTracedLinesOfSight) {
  scan::Scan scan;
  scan.photos.push_back(photo_from({300, -120, 260}, {0, 0, 50}, 0.01, 0.06, 2e-4));
  scan.photos.push_back(photo_from({-180, 240, 330}, {0, 0, 50}, 0.008, 0.05, 1e-4));
  scan.photos.push_back(photo_from({60, 380, 90}, {0, 0, 50}, 0.01, 0.04, 3e-4));
  const Vector3d n1 = Vector3d(0.2, 0.6, 0.9).normalized(), n2 = Vector3d(0.25, 0.5, 0.95).normalized();
  const Vector3d at(10, 60, 70), across = n1.cross(Vector3d(1, 0.3, 0)).normalized();
  const VectorXd s1 = Vector3d(0.6, 0.1, 0.3), s2 = Vector3d(0.2, 0.7, 0.1);
  const double stated = edges::PhotoErrors(scan).variance_mm2({at, n1, &s1}, {at, n2, &s2}, across);
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  double sum = 0;
  constexpr int kRuns = 20000;
  for (int run = 0; run < kRuns; ++run) {
    double width = 0;
    for (std::size_t i = 0; i < 3; ++i) {
      const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
      Sample unit;
      for (double& x : unit) x = normal(random);
      const Sample error = photo.covariance.llt().matrixL() * unit;
      const auto k = static_cast<Eigen::Index>(i);
      width += s1[k] * (believed(photo, error, at, n1) - at).dot(across) -
               s2[k] * (believed(photo, error, at, n2) - at).dot(across);
    }
    sum += width * width / kRuns;
  }
  EXPECT_NEAR(sum / stated, 1, 0.04);  // a hundredth is the standard deviation of a sum of 20 000 squares
  EXPECT_GT(stated, 1e-5);
}

TEST(PhotoErrors, SharesAreThoseOfTheReadingsAbout) {
  edges::TracedArris traced;
  traced.outline.assign(20, Vector2d::Zero());
  traced.observations.push_back({0, geometry::PhotoIndex(1), -0.5, 0, 30, 0.1});
  traced.observations.push_back({2, geometry::PhotoIndex(0), -0.5, 0, 30, 0.05});
  const auto shares = edges::photo_shares(traced, 3);
  ASSERT_EQ(shares.size(), 20U);
  EXPECT_NEAR(shares[1][0], 0.8, 1e-12);  // four times the information
  EXPECT_NEAR(shares[1][1], 0.2, 1e-12);
  EXPECT_EQ(shares[5][0], 1);
  EXPECT_EQ(shares[18][1], 1);             // round the start
  EXPECT_NEAR(shares[10][0], 0.8, 1e-12);  // no reading about it: as the whole piece
  EXPECT_EQ(shares[10][2], 0);
}

}  // namespace
}  // namespace interstice
