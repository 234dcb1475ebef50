// Forms of every kind, found and measured from photos made for the purpose; the truth is what they were made
// from. Poses are exact here: what is tested is the surface, the axis and what is said of it.
#include "form/shape.h"

#include <gtest/gtest.h>

#include <cmath>

#include "core/errors.h"
#include "form/bare_scan.h"
#include "form/form_scene.h"
#include "form/rough_form.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
constexpr double kPi = std::numbers::pi;

const form_scene::Relief kRound = [](const Vector2d&) { return 0.0; };

geometry::Profile dome() {
  return form_scene::profile_of(
      [](double s) { return Vector2d(90 * std::sin(s * kPi / 2), 70 * std::cos(s * kPi / 2)); });
}

struct Measured {
  form::Shape shape;
  double rms = 0, worst = 0, within = 0;  // of the profile's points that were seen; share within u95
};

Measured measured(form_scene::FormPhotos& photos) {
  const form::RoughForm rough = form::find_rough_form(photos.points, {12, -9}, 250);
  EXPECT_LT(rough.axis_mm.norm(), 1.0);
  photos.scan =
      form::moved_scan(std::move(photos.scan),
                       Eigen::Isometry3d(Eigen::Translation3d(-rough.axis_mm.x(), -rough.axis_mm.y(), 0)));
  Measured m;
  form::ShapeOptions options;
  options.grid_mm = 1.5;
  m.shape = form::measure_shape(photos.scan, photos.pictures, rough.profile, options).shape;
  double n = 0;
  for (std::size_t i = 0; i < m.shape.seen.size(); ++i) {
    if (!m.shape.seen[i]) continue;
    const Vector2d p = m.shape.profile.points()[i];
    const double off = std::abs(photos.profile.locate({p.x(), 0, p.y()}).height);
    m.rms += off * off, m.worst = std::max(m.worst, off), n += 1, m.within += off <= m.shape.u95_mm[i];
  }
  EXPECT_GT(n, 20);
  m.rms = std::sqrt(m.rms / n), m.within /= n;
  std::printf("rms %.3f worst %.3f within u95 %.2f of %.0f, seen %.0f %%, pole %.0f rim %.0f mm, %zu bumps\n",
              m.rms, m.worst, m.within, n, 100 * m.shape.seen_share, m.shape.unseen_pole_mm,
              m.shape.unseen_rim_mm, m.shape.bumps.size());
  return m;
}

// A fifth of a pixel of the photos, which are coarse here (0.8 mm); round to as much, nothing invented.
void expect_round(const Measured& m, double pixel_mm) {
  EXPECT_LT(m.rms, 0.2 * pixel_mm);
  EXPECT_LT(m.worst, 0.6 * pixel_mm);
  EXPECT_GE(m.within, 0.85);
  EXPECT_TRUE(m.shape.bumps.empty());
  for (const form::Ring& ring : m.shape.rings) EXPECT_LT(ring.out_of_round_mm, 0.5 * pixel_mm);
  EXPECT_LT(m.shape.lean_deg, 0.3);
}

TEST(FormShape, Dome) {
  form_scene::FormPhotos photos = form_scene::photograph(dome(), kRound);
  expect_round(measured(photos), photos.scan.quality.pixel_footprint_mm);
}

TEST(FormShape, Platter) {
  form_scene::FormPhotos photos = form_scene::photograph(
      form_scene::profile_of([](double s) {
        return Vector2d(140 * std::sin(s * 1.1) / std::sin(1.1),
                        32 * (std::cos(s * 1.1) - std::cos(1.1)) / (1 - std::cos(1.1)));
      }),
      kRound);
  expect_round(measured(photos), photos.scan.quality.pixel_footprint_mm);
}

// Narrow on top, a belly, drawn in to the rim.
TEST(FormShape, Vase) {
  form_scene::FormPhotos photos =
      form_scene::photograph(form_scene::profile_of([](double s) {
                               const double t = s * 2.25;
                               return Vector2d(72 * std::sin(t), 75 * (std::cos(t) - std::cos(2.25)));
                             }),
                             kRound);
  expect_round(measured(photos), photos.scan.quality.pixel_footprint_mm);
}

// A flat top, a rounded edge of 15 mm, a wall that leans in by 3 degrees.
TEST(FormShape, NearCylinder) {
  form_scene::FormPhotos photos = form_scene::photograph(
      form_scene::profile_of(
          [](double s) {
            const double a = 50, edge = 15 * (kPi / 2 - 0.05), wall = 85, at = s * (a + edge + wall);
            if (at < a) return Vector2d(at, 100);
            if (at < a + edge) {
              const double t = (at - a) / 15;
              return Vector2d(a + 15 * std::sin(t), 85 + 15 * std::cos(t));
            }
            const double end = kPi / 2 - 0.05, down = at - a - edge;
            const Vector2d from(a + 15 * std::sin(end), 85 + 15 * std::cos(end));
            return Vector2d(from.x() + down * std::sin(0.05), from.y() * (1 - down / wall));
          },
          75),
      kRound);
  expect_round(measured(photos), photos.scan.quality.pixel_footprint_mm);
}

// Diameters that differ by a millimetre: r = r0 + 0.25 cos 2(theta - 0.5).
TEST(FormShape, OvalByAMillimetre) {
  const geometry::Profile profile = dome();
  const auto relief = [&](const Vector2d& uv) {
    const double rho = uv.norm();
    return 0.25 * std::cos(2 * (std::atan2(uv.y(), uv.x()) - 0.5)) * profile.at(rho).normal.x();
  };
  form_scene::FormPhotos photos = form_scene::photograph(profile, relief);
  const Measured m = measured(photos);
  EXPECT_LT(m.rms, 0.16);
  ASSERT_FALSE(m.shape.rings.empty());
  int told = 0;
  for (const form::Ring& ring : m.shape.rings) {
    if (ring.z_mm < 10 || ring.z_mm > 45) continue;
    EXPECT_NEAR(ring.oval_mm, 1.0, 0.3) << ring.z_mm;
    EXPECT_NEAR(ring.oval_angle, 0.5, 0.2) << ring.z_mm;
    ++told;
  }
  EXPECT_GE(told, 4);
  EXPECT_TRUE(m.shape.bumps.empty());
}

// A bump of two millimetres, 20 mm across at half its height, and a dent of one.
TEST(FormShape, BumpAndDent) {
  const Vector2d bump(40, 45), dent(-70, -20);
  const auto relief = [&](const Vector2d& uv) {
    const double sigma = 20 / 2.355;
    return 2 * std::exp(-(uv - bump).squaredNorm() / (2 * sigma * sigma)) -
           1.2 * std::exp(-(uv - dent).squaredNorm() / (2 * sigma * sigma));
  };
  form_scene::FormPhotos photos = form_scene::photograph(dome(), relief);
  const Measured m = measured(photos);
  EXPECT_LT(m.rms, 0.16);
  ASSERT_EQ(m.shape.bumps.size(), 2u);
  EXPECT_NEAR(m.shape.bumps[0].height_mm, 2, 0.4);
  EXPECT_NEAR(m.shape.bumps[0].across_mm, 20, 6);
  EXPECT_LT((m.shape.bumps[0].uv - bump).norm(), 5);
  EXPECT_NEAR(m.shape.bumps[1].height_mm, -1.2, 0.4);
  EXPECT_LT((m.shape.bumps[1].uv - dent).norm(), 5);
}

// Nobody looked from above: the top is gone on with, and said so.
TEST(FormShape, PoleNotSeen) {
  form_scene::SceneOptions low;
  low.highest_deg = 12;
  form_scene::FormPhotos photos = form_scene::photograph(dome(), kRound, low);
  const Measured m = measured(photos);
  EXPECT_GT(m.shape.unseen_pole_mm, 10);
  EXPECT_NEAR(m.shape.profile.points().front().y(), 70, m.shape.u95_mm.front() + 0.5);
  EXPECT_GT(m.shape.u95_mm.front(), 2 * m.shape.u95_mm[m.shape.u95_mm.size() / 2]);
}

// Nothing to compare, and nothing matched.
TEST(FormShape, PlainWhiteFormAsksForLines) {
  form_scene::SceneOptions plain;
  plain.contrast = 0;
  form_scene::FormPhotos photos = form_scene::photograph(dome(), kRound, plain);
  try {
    form::measure_shape(photos.scan, photos.pictures, dome(), {});
    FAIL() << "measured a plain form";
  } catch (const core::MeasureError& e) {
    EXPECT_NE(std::string(e.what()).find("draw pencil lines"), std::string::npos);
  }
  try {
    form::find_rough_form({}, {0, 0}, 200);
    FAIL();
  } catch (const core::MeasureError& e) {
    EXPECT_NE(std::string(e.what()).find("draw pencil lines"), std::string::npos);
  }
}

}  // namespace
}  // namespace interstice
