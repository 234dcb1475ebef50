#include "refill/next_pour.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <filesystem>
#include <numbers>

namespace interstice::refill {
namespace {

using Eigen::Vector3d;

constexpr double kDeg = std::numbers::pi / 180;

plan::Plan some_plan() {
  return plan::read_plan(std::filesystem::path(INTERSTICE_SOURCE_DIR) / "datasets" / "plover" / "plan.json");
}

// A slot on a ball of 100 mm, its length along the ring.
Hollow slot(double from_top_deg, double azimuth_deg, double length_mm = 10, double width_mm = 3) {
  Hollow h;
  const double t = from_top_deg * kDeg, a = azimuth_deg * kDeg;
  h.normal = {std::sin(t) * std::cos(a), std::sin(t) * std::sin(a), std::cos(t)};
  h.at = 100 * h.normal;
  h.along = {-std::sin(a), std::cos(a), 0};
  h.tiles = {"A01", "A02"};
  h.length_mm = length_mm;
  h.width_mm = width_mm;
  h.opening_mm2 = length_mm * width_mm;
  h.volume_low_ml = 0.1, h.volume_high_ml = 0.3;
  return h;
}

// 600 mPa s through 25 mm of 1.2 mm bore at 0.1 ml/s: 29.5 kPa by the law of Hagen and Poiseuille.
TEST(NextPour, NeedlePressureIsHagenPoiseuilles) {
  EXPECT_NEAR(needle_pressure_pa(0.6, 0.025, 1e-7, 0.0012), 29.5e3, 0.05e3);
}

TEST(NextPour, NoFenceWhereTheOpeningLooksUp) {
  EXPECT_NEAR(fence_mm(slot(0, 0), Vector3d(0, 0, 1)).value(), 0, 1e-9);
  // A slot of 3 mm across the slope, leaned by 45 degrees: its lower brim lies 3 mm sin 45 below the upper; the
  // fence stands on the brim at 45 degrees to the level: 3 mm.
  EXPECT_NEAR(fence_mm(slot(45, 0), Vector3d(0, 0, 1)).value(), 3, 1e-6);
  EXPECT_FALSE(fence_mm(slot(80, 0), Vector3d(0, 0, 1)));
}

TEST(NextPour, HollowsOnTopNeedOneLeanAndOnOppositeSidesTwo) {
  const plan::Plan plan = some_plan();
  const auto upright = plan_refill({slot(10, 0), slot(15, 120), slot(20, 240)}, plan);
  ASSERT_EQ(upright.size(), 1u);
  EXPECT_EQ(upright[0].hollows.size(), 3u);
  EXPECT_EQ(plan_refill({slot(85, 0), slot(85, 180)}, plan).size(), 2u);
}

// Every hollow is in exactly one pour, and can be filled there.
TEST(NextPour, EveryHollowIsFilledOnce) {
  std::vector<Hollow> hollows;
  for (int k = 0; k < 40; ++k) hollows.push_back(slot(5 + 2.2 * k, 47.0 * k, 5 + k % 7, 1 + k % 4));
  const auto pours = plan_refill(hollows, some_plan());
  std::vector<int> times(hollows.size(), 0);
  for (const RefillPour& p : pours) {
    const double t = p.tilt_deg * kDeg, a = p.azimuth_deg * kDeg;
    const Vector3d up(std::sin(t) * std::cos(a), std::sin(t) * std::sin(a), std::cos(t));
    double low = -1e9;
    for (const std::size_t i : p.hollows) {
      ++times[i];
      EXPECT_TRUE(fence_mm(hollows[i], up)) << i;
      EXPECT_GE(hollows[i].at.dot(up), low - 1e-9);  // lowest first
      low = hollows[i].at.dot(up);
    }
    EXPECT_GE(p.mix_ml, kLeastBatch_ml);
    EXPECT_GE(p.mix_ml, p.volume_high_ml);
  }
  for (const int n : times) EXPECT_EQ(n, 1);
  EXPECT_LE(pours.size(), 6u);
}

TEST(NextPour, NarrowerThanTheLimitIsNotPoured) {
  const auto advice =
      advise({slot(0, 0, 10, 3.5), slot(0, 0, 10, 2.2), slot(0, 0, 10, 0.8)}, 3.0, std::nullopt);
  EXPECT_EQ(advice[0].way, Way::pour);
  EXPECT_EQ(advice[1].way, Way::syringe);
  EXPECT_EQ(advice[2].way, Way::open_first);
}

}  // namespace
}  // namespace interstice::refill
