// Shifts of photos learnt from what all of them show of the same edges, against known ones and a dense solution.
#include "edges/shift_fit.h"

#include <gtest/gtest.h>

#include <Eigen/QR>
#include <cmath>
#include <functional>
#include <random>

namespace interstice {
namespace {

using edges::ShiftFit;
using edges::ShiftReading;
using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::VectorXd;

constexpr int kWidth = 1200, kHeight = 900, kCells = 12;
constexpr std::size_t kPhotos = 8;
constexpr double kMmPerPx = 0.2;

using ShiftOf = std::function<Vector2d(std::size_t photo, const Vector2d& pixel)>;

// Points of edges seen by most photos anywhere in the frame; what they show is off by the shifts and by noise.
std::vector<std::vector<ShiftReading>> points_with(const ShiftOf& shift_px, double noise_px,
                                                   std::size_t count, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> x(0, kWidth - 1), y(0, kHeight - 1), angle(0, 6.283), chance(0, 1);
  std::normal_distribution<double> noise(0, noise_px * kMmPerPx);
  std::vector<std::vector<ShiftReading>> out(count);
  for (auto& point : out) {
    const double along = angle(random);
    for (std::size_t p = 0; p < kPhotos; ++p) {
      if (chance(random) < 0.3) continue;
      ShiftReading r;
      r.photo = geometry::PhotoIndex(p);
      r.pixel = {x(random), y(random)};
      const double turned = along + 0.8 * static_cast<double>(p);
      r.per_px = kMmPerPx * Vector2d(std::cos(turned), std::sin(turned));
      r.slope = std::cos(turned);
      r.residual_mm = r.per_px.dot(shift_px(p, r.pixel)) + noise(random);
      r.weight = 1 / (kMmPerPx * kMmPerPx * 0.01);
      point.push_back(r);
    }
  }
  return out;
}

ShiftFit fit_of(const std::vector<std::vector<ShiftReading>>& points) {
  ShiftFit fit(kPhotos, {camera::ShiftField(kWidth, kHeight, kCells)});
  for (std::size_t i = 0; i < points.size(); ++i) fit.add_point(points[i], i % 2);
  return fit;
}

Vector2d own(std::size_t photo, const Vector2d& pixel) {
  const double k = 0.3 * std::sin(1.7 * static_cast<double>(photo));
  return {k + 0.4 * k * (pixel.y() / kHeight - 0.5), 0.2 - k * (pixel.x() / kWidth - 0.5)};
}

Vector2d wavy(const Vector2d& pixel) {
  return {0.3 * std::sin(pixel.x() / 110) * std::cos(pixel.y() / 150), 0.3 * std::cos(pixel.x() / 130)};
}

// Shifts show only where photos differ: the worst difference between two photos' shifts, after all photos' mean is
// taken off what is common.
double error_px(const ShiftFit& fit, const VectorXd& found, const ShiftOf& truth) {
  double squares = 0, count = 0, mean_u = 0, mean_v = 0;
  std::vector<Vector2d> apart;
  for (std::size_t p = 0; p < kPhotos; ++p) {
    const camera::ShiftField field = fit.field_of(found, geometry::PhotoIndex(p), 0);
    for (double x = 100; x < kWidth; x += 100) {
      for (double y = 100; y < kHeight; y += 100) {
        apart.push_back(field.at({x, y}) - truth(p, {x, y}));
        mean_u += apart.back().x(), mean_v += apart.back().y(), count += 1;
      }
    }
  }
  for (const Vector2d& a : apart) squares += (a - Vector2d(mean_u, mean_v) / count).squaredNorm() / 2;
  return std::sqrt(squares / count);
}

TEST(ShiftFit, FindsWhatEachPhotoAndTheLensDo) {
  const ShiftOf truth = [](std::size_t p, const Vector2d& x) { return Vector2d(own(p, x) + wavy(x)); };
  const ShiftFit fit = fit_of(points_with(truth, 0.1, 1500, 1));
  const ShiftFit::Freedom freedom = fit.best_freedom();
  EXPECT_GT(freedom.affine_px, 0.1);
  EXPECT_GT(freedom.field_px, 0.02);
  const VectorXd found = fit.solve(freedom, ShiftFit::From::both);
  EXPECT_LT(error_px(fit, found, truth), 0.05);
  EXPECT_GT(error_px(fit, 0 * found, truth), 0.2);
}

TEST(ShiftFit, FindsNextToNothingInNoise) {
  for (const unsigned seed : {2u, 3u, 4u, 5u}) {
    const auto points =
        points_with([](std::size_t, const Vector2d&) { return Vector2d(0, 0); }, 0.2, 800, seed);
    const ShiftFit fit = fit_of(points);
    const ShiftFit::Freedom freedom = fit.best_freedom();
    const VectorXd one = fit.solve(freedom, ShiftFit::From::first),
                   other = fit.solve(freedom, ShiftFit::From::second);
    double common = 0, count = 0;
    for (const auto& point : points) {
      for (const ShiftReading& r : point)
        common += fit.across_mm(one, r) * fit.across_mm(other, r) / r.per_px.squaredNorm(), count += 1;
    }
    EXPECT_LT(common / count, 0.03 * 0.03) << seed;
  }
}

// The places of the points as unknowns of their own, and everything at once.
TEST(ShiftFit, EliminatesThePlacesOfThePoints) {
  const ShiftOf truth = [](std::size_t p, const Vector2d& x) { return own(p, x); };
  const auto points = points_with(truth, 0.1, 60, 6);
  const ShiftFit fit = fit_of(points);
  const ShiftFit::Freedom freedom{0.5, 0};
  const VectorXd found = fit.solve(freedom, ShiftFit::From::both);
  std::size_t n = 0;
  for (const auto& point : points) n += point.size();
  const Eigen::Index shifts = 6 * static_cast<Eigen::Index>(kPhotos), first_point = shifts + 3;
  MatrixXd a = MatrixXd::Zero(static_cast<Eigen::Index>(n) + shifts,
                              first_point + static_cast<Eigen::Index>(points.size()));
  VectorXd b = VectorXd::Zero(a.rows());
  Eigen::Index row = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    for (const ShiftReading& r : points[i]) {
      const double w = std::sqrt(r.weight);
      const Vector2d at = (2 * r.pixel - Vector2d(kWidth, kHeight)) / kWidth;
      const Eigen::Index own_first = 6 * static_cast<Eigen::Index>(r.photo.value);
      for (Eigen::Index c = 0; c < 2; ++c)
        a.block<1, 3>(row, own_first + 3 * c) = w * r.per_px[c] * Eigen::RowVector3d(1, at.x(), at.y());
      if (r.slope >= 0) a(row, shifts) = w;
      a(row, shifts + (r.slope < 0 ? 2 : 1)) = w * r.slope;
      a(row, first_point + static_cast<Eigen::Index>(i)) = w;
      b[row++] = w * r.residual_mm;
    }
  }
  for (Eigen::Index k = 0; k < shifts; ++k) a(row++, k) = 1 / freedom.affine_px;
  const VectorXd dense = a.colPivHouseholderQr().solve(b);
  for (const auto& point : points) {
    for (const ShiftReading& r : point) {
      const Vector2d at = (2 * r.pixel - Vector2d(kWidth, kHeight)) / kWidth;
      const auto x = dense.segment<6>(6 * static_cast<Eigen::Index>(r.photo.value));
      const double across = r.per_px.x() * (x[0] + x[1] * at.x() + x[2] * at.y()) +
                            r.per_px.y() * (x[3] + x[4] * at.x() + x[5] * at.y());
      EXPECT_NEAR(fit.across_mm(found, r), across, 1e-4 * kMmPerPx);
    }
  }
}

// A spline whose coefficients lie on a plane is that plane, everywhere in the frame.
TEST(ShiftFit, GivesAPhotosShiftsAsAField) {
  const ShiftFit fit =
      fit_of(points_with([](std::size_t p, const Vector2d& x) { return own(p, x); }, 0.1, 200, 7));
  const VectorXd found = fit.solve({0.5, 0.05}, ShiftFit::From::both);
  std::mt19937 random(8);
  std::uniform_real_distribution<double> x(0, kWidth - 1), y(0, kHeight - 1);
  for (int k = 0; k < 100; ++k) {
    ShiftReading r;
    r.photo = geometry::PhotoIndex(static_cast<std::size_t>(k) % kPhotos);
    r.pixel = {x(random), y(random)};
    r.per_px = {0.3, -0.4};
    EXPECT_NEAR(fit.across_mm(found, r), r.per_px.dot(fit.field_of(found, r.photo, 0).at(r.pixel)), 1e-12);
  }
}

}  // namespace
}  // namespace interstice
