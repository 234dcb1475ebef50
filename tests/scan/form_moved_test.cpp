// A form that was pushed over the bench while it was photographed.
#include "scan/form_moved.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

Profile dome() {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= 18; ++i) {
    const double a = i * std::numbers::pi / 36;
    rz.emplace_back(90 * std::sin(a), i == 18 ? 0.0 : 60 * std::cos(a));
  }
  return Profile(rz);
}

// 24 photos in a ring, each matched with its neighbours: 15 points of a pair on the faces it sees, 0.5 mm of
// noise, and as many mistakes. From photo `from` on the form lies `move` further.
std::vector<PairPoints> ring(const Profile& profile, const Vector2d& move, std::size_t from, unsigned seed) {
  constexpr std::size_t kPhotos = 24;
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, 0.5);
  std::uniform_real_distribution<double> any(0, 1);
  std::vector<PairPoints> out;
  for (std::size_t i = 0; i < kPhotos; ++i) {
    const std::size_t j = (i + 1) % kPhotos;
    PairPoints pair{std::min(i, j), std::max(i, j), 0.5, {}};
    const bool crosses = pair.first < from && pair.second >= from;
    for (int n = 0; n < 30; ++n) {
      const double bearing = 2 * std::numbers::pi * (double(i) + 0.5) / kPhotos + 1.6 * (any(random) - 0.5);
      const MeridianPoint m = profile.at(any(random) * profile.length());
      const bool mistake = crosses || n % 2 == 1;
      const double height = mistake ? 80 * (any(random) - 0.5) : 14 + noise(random);
      const double r = m.rz.x() + height * m.normal.x(), z = m.rz.y() + height * m.normal.y();
      Vector3d p(r * std::cos(bearing), r * std::sin(bearing), z);
      if (pair.first >= from) p.head<2>() += move;
      pair.points.push_back(p);
    }
    out.push_back(pair);
  }
  return out;
}

TEST(FormMoved, AFormThatStoodStillIsNotAccused) {
  const Profile profile = dome();
  for (unsigned seed = 0; seed < 20; ++seed)
    EXPECT_FALSE(form_moved(ring(profile, {0, 0}, 12, seed), 24, profile, Seat{{0, 0}, 14, 100, 1}, 1))
        << seed;
}

TEST(FormMoved, ThePhotoFromWhichItLiesElsewhereIsFound) {
  const Profile profile = dome();
  for (const double mm : {6.0, 12.0}) {
    const auto from =
        form_moved(ring(profile, mm * Vector2d(0.8, -0.6), 12, 1), 24, profile, Seat{{0, 0}, 14, 100, 1}, 1);
    ASSERT_TRUE(from) << mm;
    EXPECT_NEAR(double(*from), 12, 1) << mm;
  }
}

// Of views close together nobody can say how deep their points lie.
TEST(FormMoved, NarrowPairsAreNoWitnesses) {
  const Profile profile = dome();
  std::vector<PairPoints> pairs = ring(profile, {8, 0}, 12, 1);
  for (PairPoints& pair : pairs) pair.angle = 0.1;
  EXPECT_FALSE(form_moved(pairs, 24, profile, Seat{{0, 0}, 14, 100, 1}, 1));
}

}  // namespace
}  // namespace interstice
