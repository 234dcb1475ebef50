// An arris under a corner broken unevenly: readings made of the corner's geometry alone, with noise, and what
// the fit says of outline, heights and their uncertainty.
#include "edges/uneven_corner.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "edges/arris_fit.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kHalf_mm = 20, kStep_mm = 0.8, kNoise_mm = 0.03, kAspect = 0.8;
constexpr double kTaken_mm = 0.3;  // height of the corner where the readings are made

geometry::Polygon square() {
  const Vector2d corners[4] = {
      {-kHalf_mm, -kHalf_mm}, {kHalf_mm, -kHalf_mm}, {kHalf_mm, kHalf_mm}, {-kHalf_mm, kHalf_mm}};
  geometry::Polygon out;
  const int n = static_cast<int>(2 * kHalf_mm / kStep_mm);
  for (int side = 0; side < 4; ++side) {
    for (int k = 0; k < n; ++k)
      out.push_back(corners[side] + (corners[(side + 1) % 4] - corners[side]) * k / n);
  }
  return out;
}

// A photo from afar: the direction it looks from, as slopes along the face's axes.
struct View {
  Vector2d slope;
};

// Round the piece at three elevations.
std::vector<View> all_round() {
  std::vector<View> out;
  for (int k = 0; k < 12; ++k) {
    const double turn = 2 * std::numbers::pi * k / 12 + 0.2, steep = 0.35 + 0.4 * (k % 3);
    out.push_back({steep * Vector2d(std::cos(turn), std::sin(turn))});
  }
  return out;
}

struct Measured {
  double across_rms = 0, height_rms = 0, within = 0, mean_sd = 0;
};

// Heights of the corner by the share of the way round; views of slopes up to `steepest` are read.
template <class Height>
Measured measure(const Height& height, const std::vector<View>& views, unsigned seed, double steepest = 1.3) {
  edges::BrokenCorner corner;
  corner.height_mm = kTaken_mm;
  corner.width_mm = kAspect * kTaken_mm;
  corner.uneven_mm = 0.2;
  edges::ArrisPrior known;
  known.face = {geometry::make_plane_frame(Vector3d(0, 0, kTaken_mm), Vector3d::UnitZ(), Vector3d::UnitX())};
  known.corner = corner;
  const edges::ArrisLine line(
      geometry::make_plane_frame(Vector3d::Zero(), Vector3d::UnitZ(), Vector3d::UnitX()), square(), corner);
  const std::size_t n = line.outline.size();
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, kNoise_mm);
  std::vector<edges::ArrisObservation> readings;
  for (std::size_t v = 0; v < views.size(); ++v) {
    for (std::size_t i = 0; i < n; ++i) {
      const double slope = views[v].slope.dot(line.normals[i]);
      if (slope < -1.5 || slope > steepest) continue;
      // The arris lies at 0 across, `h` below the face; the rim at the face, narrower by the corner's width.
      const double h = height(double(i) / double(n));
      const double arris = slope * (h - kTaken_mm), rim = -kAspect * h - slope * kTaken_mm;
      const double seen = slope < 0 ? std::max(arris, rim) : arris;
      readings.push_back({i, geometry::PhotoIndex(v), slope,
                          seen - edges::rim_shift_mm(corner, slope) + noise(random), 30, kNoise_mm});
    }
  }
  const edges::ArrisUnknowns u(line);
  const edges::ArrisSolution s = edges::fit_readings(u, line, known, readings);
  Measured out;
  double points = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const auto k = static_cast<Eigen::Index>(i);
    const edges::ArrisUnknowns::HeightRow z = u.height_row(i);
    double at = -kTaken_mm;
    for (int j = 0; j < edges::ArrisUnknowns::kHeightTerms; ++j) at += z.value[j] * s.x[z.index[j]];
    const double sd = std::sqrt(s.noise_scale * s.inverse(k, k));
    points += 1;
    out.across_rms += s.x[k] * s.x[k];
    out.height_rms += std::pow(at + height(double(i) / double(n)), 2);
    out.within += std::abs(s.x[k]) < 2 * sd ? 1 : 0;
    out.mean_sd += sd;
  }
  out.across_rms = std::sqrt(out.across_rms / points);
  out.height_rms = std::sqrt(out.height_rms / points);
  out.within /= points;
  out.mean_sd /= points;
  return out;
}

double uneven(double round) {
  return 0.5 + 0.3 * std::sin(4 * std::numbers::pi * round);
}

// From 0.2 to 0.8 mm round one piece: outline and heights come out to the noise, and are as sure as stated.
TEST(UnevenCorner, ComesOutWithItsArris) {
  double within = 0;
  for (unsigned seed = 1; seed <= 8; ++seed) {
    const Measured m = measure(uneven, all_round(), seed);
    EXPECT_LT(m.across_rms, 0.6 * kNoise_mm);
    EXPECT_LT(m.height_rms, 1.5 * kNoise_mm);
    within += m.within / 8;
  }
  EXPECT_GT(within, 0.9);
}

// A saw cut left sharp, where the bowl's corners are six times as high.
TEST(UnevenCorner, SharpCornersComeOutSharp) {
  const Measured m = measure([](double) { return 0.05; }, all_round(), 3);
  EXPECT_LT(m.across_rms, 0.6 * kNoise_mm);
  EXPECT_LT(m.height_rms, 1.5 * kNoise_mm);
}

// Knots: the bowl's unevenness and the piece's own, between the two.
TEST(UnevenCorner, APieceWidensWhatTheBowlSays) {
  const edges::ArrisLine line(
      geometry::make_plane_frame(Vector3d::Zero(), Vector3d::UnitZ(), Vector3d::UnitX()), square(), {});
  const edges::ArrisUnknowns u(line);
  EXPECT_NEAR(edges::uneven_of_piece(u, 0.1, 0.01), 0.1, 1e-12);
  const double wider = edges::uneven_of_piece(u, 0.1, 0.09);
  EXPECT_GT(wider, 0.2);
  EXPECT_LT(wider, 0.3);
  EXPECT_GE(edges::uneven_of_piece(u, 0, 0), 0.01);
  // Far from each other on the outline heights are independent, side by side alike.
  const Eigen::MatrixXd correlation = edges::knots_precision(u).inverse();
  EXPECT_NEAR(correlation(0, u.knots() / 2), 0, 1e-6);
  EXPECT_GT(correlation(0, 1) / correlation(0, 0), 0.8);
  EXPECT_NEAR(correlation(0, 1), correlation(0, u.knots() - 1), 1e-9);
}

}  // namespace
}  // namespace interstice
