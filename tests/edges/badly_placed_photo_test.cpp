// One photo whose place is a pixel or two off, and says so, moves no edge; one that does not say so, does.
#include <gtest/gtest.h>

#include <cmath>

#include "core/median.h"
#include "edges/find_corner.h"
#include "edges/photo_errors.h"
#include "edges/plate_scene.h"
#include "edges/trace_arris.h"

namespace interstice {
namespace {

using namespace testing_plate;

// The first photo's camera taken to stand elsewhere than it does, by so many mm across its line of sight.
PlateScene misplaced(double off_mm, bool stated) {
  PlateOptions options;
  options.cameras = 5;
  options.noise = 25;  // so that a tenth of a millimetre is no obvious mistake
  PlateScene s = plate_scene(options);
  scan::ScannedPhoto& photo = s.scan.photos[geometry::PhotoIndex(0)];
  photo.camera_T_bowl.translation() += off_mm * Eigen::Vector3d(1, 1, 0).normalized();
  if (stated) photo.covariance.diagonal().segment<3>(3).setConstant(off_mm * off_mm);
  return s;
}

edges::ArrisPrior known_of(const PlateScene& s) {
  edges::ArrisPrior known;
  known.face = {s.plane};
  known.corner.height_mm = known.corner.width_mm = 0;
  return known;
}

// How far off the plate is as a whole: of opposite edges the half difference, so that what all edges have in common (light
// against code values) is none of it.
double traced_off_mm(const PlateScene& s) {
  const edges::TracedArris t = edges::trace_arris(
      s.scan, s.pictures, {s.plane, geometry::resampled(plate_outline(), 0.75)}, known_of(s), {0.6, 0.6});
  Eigen::Vector4d sum(0, 0, 0, 0), n(0, 0, 0, 0);
  for (std::size_t i = 0; i < t.outline.size(); ++i) {
    const Eigen::Vector2d q = s.plane.drop(edges::arris_point(t, i));
    const int k = edge_of(q, 2);
    if (k >= 0) sum[k] += inward_mm(k, q), n[k] += 1;
  }
  const Eigen::Vector4d mean = sum.cwiseQuotient(n);
  return std::hypot(mean[0] - mean[2], mean[1] - mean[3]) / 2;
}

TEST(BadlyPlacedPhoto, CountsForLessWhenAnEdgeIsTraced) {
  const double good = traced_off_mm(misplaced(0, false)), known = traced_off_mm(misplaced(0.1, true)),
               unknown = traced_off_mm(misplaced(0.1, false));
  EXPECT_LT(known, 0.6 * unknown);
  EXPECT_LT(good, known + 0.002);
}

// The standard deviation is the root of the mean variance over directions: by hand for a camera that looks straight down.
TEST(BadlyPlacedPhoto, PlaceErrorOfACameraStraightAbove) {
  scan::ScannedPhoto photo;
  photo.camera_T_bowl =
      Eigen::Translation3d(0, 0, 400) * Eigen::AngleAxisd(std::acos(-1.0), Eigen::Vector3d::UnitX());
  photo.covariance.diagonal() << 1e-4, 2e-4, 0, 0.03 * 0.03, 0.01 * 0.01, 0, 0;  // rad, mm
  const geometry::PlaneFrame plane =
      geometry::make_plane_frame({0, 0, 0}, Eigen::Vector3d::UnitZ(), Eigen::Vector3d::UnitX());
  // A turn of 0.01 rad about x at 400 mm is 4 mm.
  const double variance = (1e-4 + 2e-4) * 400 * 400 + 0.03 * 0.03 + 0.01 * 0.01;
  photo.camera_T_bowl.translation() = Eigen::Vector3d(0, 0, 400);
  EXPECT_NEAR(edges::place_sd_mm(photo, plane), std::sqrt(variance / 2), 1e-6);
}

}  // namespace
}  // namespace interstice
