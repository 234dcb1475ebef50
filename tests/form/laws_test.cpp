// What a measured form must not depend on: how the bowl frame is turned, the order of the photos; and what it
// must follow: the scale of the cards. One scene, rendered once; only what is known of its photos changes.
#include <gtest/gtest.h>

#include <cmath>

#include "form/bare_scan.h"
#include "form/form_scene.h"
#include "form/shape.h"

namespace interstice {
namespace {

using Eigen::Vector2d;

constexpr double kOvalAngle = 0.5;

const form_scene::FormPhotos& oval_form() {
  static const form_scene::FormPhotos photos = [] {
    const geometry::Profile profile = form_scene::profile_of([](double s) {
      return Vector2d(90 * std::sin(s * std::numbers::pi / 2), 70 * std::cos(s * std::numbers::pi / 2));
    });
    const auto relief = [&](const Vector2d& uv) {
      return 0.25 * std::cos(2 * (std::atan2(uv.y(), uv.x()) - kOvalAngle)) *
             profile.at(uv.norm()).normal.x();
    };
    return form_scene::photograph(profile, relief);
  }();
  return photos;
}

// A rough form as good as the program's own: half a millimetre too large.
form::Shape shape_of(form_scene::FormPhotos photos, double scale = 1) {
  std::vector<Vector2d> rough;
  const std::vector<Vector2d>& rz = oval_form().profile.points();
  const geometry::Profile larger = oval_form().profile.offset(std::vector<double>(rz.size(), 0.5));
  for (const Vector2d& p : larger.points()) rough.push_back(scale * Vector2d(p.x(), std::max(0.0, p.y())));
  form::ShapeOptions options;
  options.grid_mm = 1.5;
  return form::measure_shape(photos.scan, photos.pictures, geometry::Profile(rough), options).shape;
}

const form::Shape& as_taken() {
  static const form::Shape shape = shape_of(oval_form());
  return shape;
}

// The other meridian, divided by `scale`, is this one's: everywhere within half of what is said of it, and in
// the root mean square within a twentieth of a pixel, by which grids laid otherwise may differ.
void expect_same_meridian(const form::Shape& other, double scale) {
  const double pixel = oval_form().scan.quality.pixel_footprint_mm;
  double squares = 0, n = 0;
  for (std::size_t i = 0; i < other.seen.size(); ++i) {
    if (!other.seen[i]) continue;
    const Vector2d p = other.profile.points()[i] / scale;
    const double off = std::abs(as_taken().profile.locate({p.x(), 0, p.y()}).height);
    EXPECT_LT(off, 0.5 * other.u95_mm[i] / scale) << "at a height of " << p.y();
    squares += off * off, n += 1;
  }
  ASSERT_GT(n, 30);
  std::printf("meridians apart by %.4f mm RMS\n", std::sqrt(squares / n));
  EXPECT_LT(std::sqrt(squares / n), 0.05 * pixel);
  EXPECT_NEAR(other.seen_share, as_taken().seen_share, 0.01);
}

// Largest diameters of rings halfway up, where they are told best.
std::vector<const form::Ring*> middle_rings(const form::Shape& shape, double scale) {
  std::vector<const form::Ring*> rings;
  for (const form::Ring& ring : shape.rings) {
    if (ring.z_mm > 10 * scale && ring.z_mm < 45 * scale) rings.push_back(&ring);
  }
  return rings;
}

TEST(FormLaws, TurningTheFrameTurnsWhatIsNotRoundAndNothingElse) {
  constexpr double kBy = 1.1;
  form_scene::FormPhotos turned = oval_form();
  turned.scan = form::moved_scan(std::move(turned.scan),
                                 Eigen::Isometry3d(Eigen::AngleAxisd(kBy, Eigen::Vector3d::UnitZ())));
  const form::Shape shape = shape_of(turned);
  expect_same_meridian(shape, 1);
  const auto rings = middle_rings(shape, 1), before = middle_rings(as_taken(), 1);
  ASSERT_GE(rings.size(), 4u);
  ASSERT_GE(before.size(), 4u);
  for (const form::Ring* ring : rings) {
    EXPECT_NEAR(std::remainder(ring->oval_angle - before.front()->oval_angle - kBy, std::numbers::pi), 0,
                0.15);
    EXPECT_NEAR(ring->oval_mm, before.front()->oval_mm, 0.2);
  }
}

TEST(FormLaws, TheOrderOfThePhotosDoesNotMatter) {
  const form_scene::FormPhotos& taken = oval_form();
  form_scene::FormPhotos other = taken;
  const std::size_t n = taken.scan.photos.size();
  for (std::size_t i = 0; i < n; ++i) {
    const geometry::PhotoIndex to(i), from((7 * i + 3) % n);  // 7 and 18 have no common factor
    other.scan.photos[to] = taken.scan.photos[from];
    other.pictures[to] = taken.pictures[from];
  }
  ASSERT_EQ(n % 7, 4u);
  expect_same_meridian(shape_of(other), 1);
}

// Cards 2 % larger than thought: photos stand further off in that share, and so does the form.
TEST(FormLaws, LargerCardsMakeALargerForm) {
  constexpr double kScale = 1.02;
  form_scene::FormPhotos larger = oval_form();
  for (scan::ScannedPhoto& photo : larger.scan.photos) photo.camera_T_bowl.translation() *= kScale;
  larger.scan.quality.pixel_footprint_mm *= kScale;
  const form::Shape shape = shape_of(larger, kScale);
  expect_same_meridian(shape, kScale);
  EXPECT_NEAR(shape.profile.points().front().y() / as_taken().profile.points().front().y(), kScale, 0.002);
}

}  // namespace
}  // namespace interstice
