// The parts of an edge's uncertainty against trials by chance: readings that err together, put through the
// same linear fit.
#include "edges/arris_uncertainty.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <cmath>
#include <random>

namespace interstice {
namespace {

using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

constexpr double kReadingSd_mm = 0.05, kPixel_mm = 0.25;

// A square of 30 mm, 1 mm from point to point, seen by photos at 300 mm that look down on it from aside.
struct Square {
  geometry::PlaneFrame frame =
      geometry::make_plane_frame(Vector3d::Zero(), Vector3d::UnitZ(), Vector3d::UnitX());
  edges::BrokenCorner corner;
  edges::ArrisLine line{frame, {}, corner};
  scan::Scan scan;
  std::vector<edges::ArrisObservation> observations;
  MatrixXd inverse;

  Square() {
    const Vector2d corners[4] = {{-15, -15}, {15, -15}, {15, 15}, {-15, 15}};
    for (int side = 0; side < 4; ++side) {
      const Vector2d along = (corners[(side + 1) % 4] - corners[side]) / 30;
      for (int i = 0; i < 30; ++i) {
        line.outline.push_back(corners[side] + i * along);
        line.normals.emplace_back(along.y(), -along.x());
      }
    }
    corner.hidden_spread = corner.wall_spread = corner.up_spread = 0;
    line.z_mm.assign(line.outline.size(), 0);
    line.corners.assign(line.outline.size(), corner);
  }

  std::size_t add_photo(const Vector3d& centre) {
    scan::ScannedPhoto photo;
    photo.camera_T_bowl.linear() =
        Eigen::Quaterniond::FromTwoVectors(-centre, Vector3d::UnitZ()).toRotationMatrix();
    photo.camera_T_bowl.translation() = -(photo.camera_T_bowl.linear() * centre);
    scan.photos.push_back(photo);
    return scan.photos.size() - 1;
  }

  // Readings of all points the photo sees with the wall hidden (slope below 0), or of all.
  void read(std::size_t photo, bool walls) {
    for (std::size_t i = 0; i < line.outline.size(); ++i) {
      const Vector3d d = scan.photos[geometry::PhotoIndex(photo)].centre() - frame.lift(line.outline[i]);
      const double slope = d.head<2>().dot(line.normals[i]) / d.z();
      if (slope > -0.1 && !(walls && slope > 0.1)) continue;
      edges::ArrisObservation o{i, geometry::PhotoIndex(photo), slope, 0, 30, kReadingSd_mm};
      o.pixel_mm = kPixel_mm;
      observations.push_back(o);
    }
  }

  edges::ArrisUnknowns unknowns() const { return edges::ArrisUnknowns(line); }

  // Every unknown held loosely, by 1 (mm), as the program's priors do.
  void solve() {
    const edges::ArrisUnknowns u = unknowns();
    MatrixXd a = MatrixXd::Identity(u.size(), u.size());
    for (const edges::ArrisObservation& o : observations) {
      const edges::ArrisUnknowns::Row r = u.row(o);
      for (int p = 0; p < edges::ArrisUnknowns::kTerms; ++p) {
        for (int q = 0; q < edges::ArrisUnknowns::kTerms; ++q)
          a(r.index[p], r.index[q]) += r.value[p] * r.value[q] / (o.sd_mm * o.sd_mm);
      }
    }
    inverse = a.ldlt().solve(MatrixXd::Identity(u.size(), u.size()));
  }

  // What the fit makes of readings that are off by `off`.
  template <class Off>
  VectorXd fitted(const Off& off) const {
    const edges::ArrisUnknowns u = unknowns();
    VectorXd b = VectorXd::Zero(u.size());
    for (const edges::ArrisObservation& o : observations) {
      const edges::ArrisUnknowns::Row r = u.row(o);
      for (int p = 0; p < edges::ArrisUnknowns::kTerms; ++p)
        b[r.index[p]] += r.value[p] * off(o) / (o.sd_mm * o.sd_mm);
    }
    return inverse * b;
  }

  std::vector<double> sds() const {
    const edges::ArrisUnknowns u = unknowns();
    return edges::point_errors({scan, u, observations, inverse, 1}, frame,
                               edges::photos_about(observations, line.outline.size()),
                               0)  // the readings' noise left out
        .sd_mm;
  }
};

Square seen_from_four_sides(bool walls) {
  Square s;
  for (const Vector3d& c :
       {Vector3d(200, 10, 220), Vector3d(-210, -20, 230), Vector3d(15, 200, 240), Vector3d(-10, -190, 200)})
    s.read(s.add_photo(c), walls);
  return s;
}

// Off by place on the corner: by chance, the same on all of a side, and by the direction of sides.
TEST(ArrisUncertainty, OfTheCornerIsWhatTrialsGive) {
  Square s = seen_from_four_sides(true);
  s.corner.wall_spread = s.corner.up_spread = 0.3;
  for (edges::ArrisObservation& o : s.observations)
    o.corner_sd_mm = edges::on_corner_mm(s.corner, o.slope, false);
  s.solve();
  const std::vector<double> stated = s.sds();
  std::mt19937 random(3);
  std::normal_distribution<double> chance;
  VectorXd sum2 = VectorXd::Zero(static_cast<Eigen::Index>(s.line.outline.size()));
  constexpr int kTrials = 4000;
  for (int t = 0; t < kTrials; ++t) {
    const Vector3d c = std::sqrt(0.5) * Vector3d(chance(random), chance(random), chance(random));
    const VectorXd x = s.fitted([&](const edges::ArrisObservation& o) {
      const Vector2d& n = s.line.normals[o.point];
      return o.slope > 0
                 ? (c[0] + c[1] * n.x() + c[2] * n.y()) * edges::on_corner_mm(s.corner, o.slope, false)
                 : 0.0;
    });
    sum2 += x.head(sum2.size()).cwiseAbs2();
  }
  double largest = 0;
  for (std::size_t i = 0; i < stated.size(); ++i) {
    const double by_trials = std::sqrt(sum2[static_cast<Eigen::Index>(i)] / kTrials);
    EXPECT_NEAR(stated[i], by_trials, 0.08 * by_trials + 0.002) << i;
    largest = std::max(largest, by_trials);
  }
  EXPECT_GT(largest, 0.02);
}

// Off by where photos were taken: only what it does to the heights counts, by the slope an edge is seen
// under.
TEST(ArrisUncertainty, OfThePhotosIsWhatTrialsGiveForTheHeights) {
  Square s = seen_from_four_sides(true);
  const double sd_mm = 0.06;
  for (scan::ScannedPhoto& p : s.scan.photos)
    p.covariance.block<3, 3>(3, 3) = sd_mm * sd_mm * Eigen::Matrix3d::Identity();
  s.solve();
  const std::vector<double> stated = s.sds();
  const edges::ArrisUnknowns u = s.unknowns();
  std::mt19937 random(4);
  std::normal_distribution<double> chance;
  std::vector<double> sum2(stated.size(), 0), slope(stated.size(), 0), readings(stated.size(), 0);
  for (const edges::ArrisObservation& o : s.observations) slope[o.point] += o.slope, readings[o.point] += 1;
  constexpr int kTrials = 4000;
  for (int t = 0; t < kTrials; ++t) {
    std::vector<Vector2d> seen;  // where the plane's middle is seen, when the whole scene moves by `moved`
    for (const scan::ScannedPhoto& p : s.scan.photos) {
      const Vector3d moved = sd_mm * Vector3d(chance(random), chance(random), chance(random));
      const Vector3d line = p.centre();  // of sight, through the origin
      seen.push_back((moved - moved.z() / line.z() * line).head<2>());
    }
    const VectorXd x = s.fitted(
        [&](const edges::ArrisObservation& o) { return seen[o.photo.value].dot(s.line.normals[o.point]); });
    for (std::size_t i = 0; i < stated.size(); ++i) {
      const edges::ArrisUnknowns::HeightRow at = u.height_row(i);
      double z = 0;
      for (int k = 0; k < edges::ArrisUnknowns::kHeightTerms; ++k)
        z += slope[i] / readings[i] * at.value[k] * x[at.index[k]];
      sum2[i] += z * z;
    }
  }
  double largest = 0;
  for (std::size_t i = 0; i < stated.size(); ++i) {
    const double by_trials = std::sqrt(sum2[i] / kTrials);
    EXPECT_NEAR(stated[i], by_trials, 0.08 * by_trials + 0.002) << i;
    largest = std::max(largest, by_trials);
  }
  EXPECT_GT(largest, 0.005);
}

// One photo of an edge: what it shows may be another line a pixel wide about; a second one that agrees
// confirms it.
TEST(ArrisUncertainty, OfALoneEdgeIsAPixelsBreadth) {
  const double lone_mm = kPixel_mm / std::sqrt(12.0);
  Square s;
  const std::size_t middle = 75;  // of the far side
  s.read(s.add_photo({10, -200, 220}), false);
  s.solve();
  EXPECT_NEAR(s.sds()[middle], lone_mm, 0.02 * lone_mm);
  s.read(s.add_photo({-60, -190, 230}), false);
  s.solve();
  EXPECT_LT(s.sds()[middle], 0.1 * lone_mm);
  // Nor does a second one whose readings the fit has cast out.
  for (edges::ArrisObservation& o : s.observations) {
    if (o.photo.value == 1) o.weight = 0;
  }
  s.solve();
  EXPECT_NEAR(s.sds()[middle], lone_mm, 0.02 * lone_mm);
}

}  // namespace
}  // namespace interstice
