// What cameras and paper do beyond the model, laid on exact pictures of cards and points: found where it is, and left
// at nought where it is not.
#include "scan/camera_effects.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <random>

#include "scan/card_scene.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kReadNoise_px = 0.05;

// Cards as in card_scene.h and 150 points in a dome's space over them, before they are read.
scan::Bundle exact_bundle(unsigned seed) {
  const auto scene = testing_scene::make_scene(0, seed);
  scan::Bundle b = scan::poses_from_cards(scene.photos, 1.0).bundle;
  b.lenses = geometry::IndexedVector<scan::LensIndex, camera::Lens>(1, scene.lens);
  for (scan::LensIndex& lens : b.lens_of) lens = scan::LensIndex(0);
  scan::BundleOptions held;
  held.free_lens = false;
  scan::adjust(b, held);
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> across(-110, 110), up(5, 120);
  const Eigen::Isometry3d bench_T_level =
      b.bench_T_card[geometry::CardIndex(0)] * scene.bench_T_card[0].inverse();
  for (int i = 0; i < 150; ++i) {
    const auto point =
        b.points.push_back(bench_T_level * Vector3d(across(random), across(random), up(random)));
    for (std::size_t p = 0; p < b.camera_T_bench.size(); ++p)
      b.ties.push_back({geometry::PhotoIndex(p), point, Vector2d::Zero(), kReadNoise_px});
  }
  return b;
}

// Reads the bundle's corners and points as its own effects show them, then forgets the effects.
void read_and_forget(scan::Bundle& b, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, kReadNoise_px);
  const auto read = [&](auto& observations) {
    for (auto& o : observations) {
      o.sd_px = kReadNoise_px;
      o.pixel -= residual(b, o);  // measured minus computed
      o.pixel += Vector2d(noise(random), noise(random));
    }
  };
  read(b.corners);
  read(b.ties);
  std::erase_if(b.ties, [&](const scan::TieObservation& o) { return !o.pixel.allFinite(); });
  b.bend_per_mm = {};
  b.row_shift_px = {};
  for (camera::Lens& lens : b.lenses) lens.residual = nullptr;
}

struct Learnt {
  scan::Bundle bundle;
  scan::BundleOptions options;
  scan::BundleSummary summary;
};

Learnt learn(scan::Bundle b) {
  Learnt l{std::move(b), {}, {}};
  l.options.lens_prior_sd << 5, 5, 5, 5, 0.01, 0.02, 1e-4, 1e-4, 0.01;
  l.summary = scan::adjust(l.bundle, l.options);
  l.summary = scan::learn_camera_effects(l.bundle, l.options, l.summary);
  return l;
}

TEST(CameraEffects, NothingIsTakenUpWhereThereIsNothing) {
  scan::Bundle b = exact_bundle(5);
  read_and_forget(b, 50);
  const Learnt l = learn(b);
  EXPECT_EQ(l.options.bend_prior_sd_per_mm, 0);
  EXPECT_EQ(l.options.residual_prior_sd_px, 0);
  EXPECT_EQ(l.options.row_shift_prior_sd_px, 0);
  EXPECT_TRUE(l.bundle.bend_per_mm.empty());
  EXPECT_TRUE(l.bundle.row_shift_px.empty());
  EXPECT_EQ(l.bundle.lenses[scan::LensIndex(0)].residual, nullptr);
}

TEST(CameraEffects, CardsThatBendAreFoundAndPointsComeBackToTheirPlaces) {
  scan::Bundle b = exact_bundle(6);
  const scan::Bundle flat = b;
  b.bend_per_mm =
      geometry::IndexedVector<geometry::CardIndex, Vector3d>(b.bench_T_card.size(), Vector3d::Zero());
  // Cylinders that lift a corner of the sheet by some 0.4 to 1.3 mm.
  const double lift_mm[4] = {0.4, 0.9, -0.6, 1.3};
  for (std::size_t c = 0; c < b.bench_T_card.size(); ++c) {
    const double along = 0.7 * double(c), curve = 2 * lift_mm[c] / (100.0 * 100.0);
    b.bend_per_mm[geometry::CardIndex(c)] =
        curve * Vector3d(std::pow(std::cos(along), 2), std::cos(along) * std::sin(along),
                         std::pow(std::sin(along), 2));
  }
  const auto bent = b.bend_per_mm;
  read_and_forget(b, 60);
  const Learnt l = learn(b);
  ASSERT_GT(l.options.bend_prior_sd_per_mm, 0);
  for (std::size_t c = 0; c < bent.size(); ++c) {
    const Vector3d off = l.bundle.bend_per_mm[geometry::CardIndex(c)] - bent[geometry::CardIndex(c)];
    EXPECT_LT(off.norm() * 100 * 100 / 2, 0.06) << c;  // mm at 100 mm from the middle
  }
  EXPECT_NEAR(l.summary.corner_factor, 1, 0.1);
  EXPECT_LT(scan::adjust(b, scan::BundleOptions()).corner_factor, 100);
  EXPECT_GT(scan::adjust(b, scan::BundleOptions()).corner_factor, 2 * l.summary.corner_factor);
}

TEST(CameraEffects, WhatTheLensLeavesIsFound) {
  scan::Bundle b = exact_bundle(7);
  for (camera::Lens& lens : b.lenses) {
    auto field = std::make_shared<camera::ShiftField>(lens.width, lens.height, 12);
    for (Eigen::Index i = 0; i < field->coefficients(); ++i) {
      const double x = double(i % field->columns()), y = double(i / field->columns());
      field->shifts().row(i) << 0.6 * std::sin(0.9 * x + 0.4 * y), 0.6 * std::cos(0.5 * x - 1.1 * y);
    }
    lens.residual = field;
  }
  read_and_forget(b, 70);
  const double before = scan::adjust(b, scan::BundleOptions()).corner_factor;
  const Learnt l = learn(b);
  ASSERT_GT(l.options.residual_prior_sd_px, 0);
  EXPECT_GT(before, 2 * l.summary.corner_factor);
  EXPECT_LT(l.summary.corner_factor, 1.3);
  EXPECT_LT(l.summary.tie_factor, 1.3);
}

// A sensor that reads its rows in turn while the hand moves.
TEST(CameraEffects, RowsThatShiftAreFoundPhotoByPhoto) {
  scan::Bundle b = exact_bundle(8);
  b.row_shift_px =
      geometry::IndexedVector<geometry::PhotoIndex, Vector2d>(b.camera_T_bench.size(), Vector2d::Zero());
  for (std::size_t p = 0; p < b.camera_T_bench.size(); ++p)
    b.row_shift_px[geometry::PhotoIndex(p)] = {2 * std::sin(1.0 + 2.3 * double(p)),
                                               2 * std::cos(3.1 * double(p))};
  const auto shifted = b.row_shift_px;
  read_and_forget(b, 80);
  const Learnt l = learn(b);
  ASSERT_GT(l.options.row_shift_prior_sd_px, 0);
  double off = 0, all = 0;
  for (std::size_t p = 0; p < shifted.size(); ++p) {
    off += (l.bundle.row_shift_px[geometry::PhotoIndex(p)] - shifted[geometry::PhotoIndex(p)]).squaredNorm();
    all += shifted[geometry::PhotoIndex(p)].squaredNorm();
  }
  EXPECT_LT(off, 0.05 * all);
}

}  // namespace
}  // namespace interstice
