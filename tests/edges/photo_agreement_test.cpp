// Photos that show the edges of many pieces off, each by a shift of its own: their lenses are moved by that.
#include "edges/photo_agreement.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <memory>

namespace interstice {
namespace {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;
using geometry::PhotoIndex;

constexpr std::size_t kCameras = 7;

Vector2d camera_shift_px(std::size_t photo) {
  return {0.4 * std::sin(2.1 * static_cast<double>(photo)), 0.4 * std::cos(1.3 * static_cast<double>(photo))};
}

// Cameras 400 mm above the plane z = 0, all looking straight down, each from elsewhere.
scan::Scan scan_from_above(const std::shared_ptr<const camera::ShiftField>& residual) {
  scan::Scan scan;
  for (std::size_t i = 0; i < kCameras; ++i) {
    scan::ScannedPhoto photo;
    photo.lens = camera::plain_lens(1200, 900, 1500);
    photo.lens.residual = residual;
    const double at = 0.9 * static_cast<double>(i);
    const Isometry3d down(Eigen::AngleAxisd(std::acos(-1.0), Vector3d::UnitX()));
    photo.camera_T_bowl = Eigen::Translation3d(20 * std::cos(at), 20 * std::sin(at), 400) * down;
    photo.covariance.diagonal().setConstant(1e-8);
    scan.photos.push_back(photo);
  }
  return scan;
}

// Square pieces of 16 mm, five by five; every photo reads every point off by its shift.
std::vector<edges::TracedArris> traced_squares(const scan::Scan& scan, double times) {
  std::vector<edges::TracedArris> out;
  for (int k = 0; k < 25; ++k) {
    edges::TracedArris t;
    t.frame = geometry::make_plane_frame(Vector3d(20.0 * (k % 5) - 40, 20.0 * (k / 5) - 40, 0),
                                         Vector3d::UnitZ(), Vector3d::UnitX());
    t.outline = geometry::resampled({{-8, -8}, {8, -8}, {8, 8}, {-8, 8}}, 1.0);
    t.z_mm.assign(t.outline.size(), 0.0);
    const std::vector<Vector2d> normals = geometry::outward_normals(t.outline);
    for (std::size_t i = 0; i < t.outline.size(); ++i) {
      const Vector3d at = edges::arris_point(t, i),
                     across = t.frame.ex * normals[i].x() + t.frame.ey * normals[i].y();
      for (std::size_t p = 0; p < kCameras; ++p) {
        const scan::ScannedPhoto& photo = scan.photos[PhotoIndex(p)];
        const Vector2d per_mm = photo.project(at + across) - photo.project(at);
        edges::ArrisObservation o{};
        o.point = i, o.photo = PhotoIndex(p), o.sd_mm = 0.03, o.weight = 1, o.slope = -0.1;
        o.residual_mm = times * camera_shift_px(p).dot(per_mm) / per_mm.squaredNorm();
        t.observations.push_back(o);
      }
    }
    out.push_back(std::move(t));
  }
  return out;
}

std::optional<scan::Scan> agreeing(const scan::Scan& scan, double times) {
  const std::vector<edges::TracedArris> squares = traced_squares(scan, times);
  std::vector<const edges::TracedArris*> pieces;
  for (const edges::TracedArris& t : squares) pieces.push_back(&t);
  return edges::with_photos_agreeing(scan, pieces);
}

// Only where photos differ do shifts show: all but their mean comes back.
void expect_moved(const scan::Scan& before, const scan::Scan& after) {
  Vector2d mean(0, 0), truth(0, 0);
  std::vector<Vector2d> found;
  for (std::size_t p = 0; p < kCameras; ++p) {
    const Vector3d middle(0, 0, 0);
    found.push_back(after.photos[PhotoIndex(p)].project(middle) -
                    before.photos[PhotoIndex(p)].project(middle));
    mean += found.back() / kCameras, truth += camera_shift_px(p) / kCameras;
    EXPECT_LT(after.photos[PhotoIndex(p)].covariance.norm(), before.photos[PhotoIndex(p)].covariance.norm());
  }
  for (std::size_t p = 0; p < kCameras; ++p)
    EXPECT_LT(((found[p] - mean) - (camera_shift_px(p) - truth)).norm(), 0.05) << p;
}

TEST(PhotoAgreement, MovesEachPhotoByWhatItsEdgesShow) {
  const scan::Scan scan = scan_from_above(nullptr);
  const auto moved = agreeing(scan, 1);
  ASSERT_TRUE(moved);
  expect_moved(scan, *moved);
}

TEST(PhotoAgreement, LeavesWhatIsLessThanATenthOfAPixel) {
  EXPECT_FALSE(agreeing(scan_from_above(nullptr), 0.2));
  EXPECT_FALSE(edges::with_photos_agreeing(scan_from_above(nullptr), {}));
}

// A scan's own field may be finer or coarser than the adjustment makes them now.
TEST(PhotoAgreement, AddsToAFieldThatIsThereHoweverFine) {
  for (const int cells : {5, 12, 17}) {
    camera::ShiftField field(1200, 900, cells);
    field.shifts().setConstant(0.3);
    const scan::Scan scan = scan_from_above(std::make_shared<const camera::ShiftField>(field));
    const auto moved = agreeing(scan, 1);
    ASSERT_TRUE(moved) << cells;
    expect_moved(scan, *moved);
  }
}

}  // namespace
}  // namespace interstice
