// The smooth model of heights, on heights made for the purpose.
#include "form/height_model.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "form/form_scene.h"

namespace interstice {
namespace {

using Eigen::Vector2d;

// Places of a map every 1.5 mm, 0.05 mm of scatter, one in ten anywhere within 4 mm.
std::vector<form::FormCell> cells_over(double length, const std::function<double(double)>& height) {
  std::mt19937 random(5);
  std::normal_distribution<double> off(0, 0.05);
  std::uniform_real_distribution<double> even(-4, 4);
  std::vector<form::FormCell> cells;
  for (double u = -length; u < length; u += 1.5) {
    for (double v = -length; v < length; v += 1.5) {
      const double rho = std::hypot(u, v);
      if (rho > length - 4) continue;
      const bool mistaken = random() % 10 == 0;
      cells.push_back({rho, std::atan2(v, u), mistaken ? even(random) : height(rho) + off(random)});
    }
  }
  return cells;
}

// A rough form that dips at its pole: everything there is as far off as mistaken heights are, and is right.
TEST(HeightModel, ADimpleOfTheRoughFormIsFilled) {
  const auto dimple = [](double r) { return 1.5 * std::exp(-r * r / (2 * 5.0 * 5.0)); };
  const geometry::Profile rough = form_scene::profile_of([&](double s) {
    const Vector2d on(90 * std::sin(s * std::numbers::pi / 2), 70 * std::cos(s * std::numbers::pi / 2));
    return Vector2d(on.x(), on.y() - dimple(on.x()));
  });
  const form::HeightModel model(cells_over(rough.length(), dimple), rough, 0.125);
  for (const double rho : {0.0, 2.0, 5.0, 10.0, 40.0})
    EXPECT_NEAR(model.mean(rho), dimple(rho), 0.12) << "at " << rho;
  EXPECT_LT(model.scatter(), 0.08);
}

}  // namespace
}  // namespace interstice
