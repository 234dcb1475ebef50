// Five invented forms with analytic meridians, for the plan's tests.
#pragma once

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

#include "geometry/profile.h"

namespace interstice::testing_forms {

struct NamedForm {
  std::string name;
  geometry::Profile profile;
  double piece_size_mm;
};

using Meridian = std::vector<Eigen::Vector2d>;

inline geometry::Profile from_dense(const Meridian& dense, double step) {
  Meridian thin{dense.front()};
  for (const auto& p : dense) {
    if ((p - thin.back()).norm() >= step) thin.push_back(p);
  }
  if ((thin.back() - dense.back()).norm() > 1e-9) {
    if ((thin.back() - dense.back()).norm() < step / 2) thin.pop_back();
    thin.push_back(dense.back());
  }
  return geometry::Profile(thin);
}

// |r / a|^n + |z / b|^n = 1
inline geometry::Profile superellipse(double a, double b, double n) {
  Meridian dense;
  for (int i = 0; i <= 20000; ++i) {
    const double t = std::numbers::pi / 2 * i / 20000;
    dense.push_back({a * std::pow(std::sin(t), 2 / n), b * std::pow(std::max(0.0, std::cos(t)), 2 / n)});
  }
  dense.front().x() = 0;
  dense.back().y() = 0;
  return from_dense(dense, 1.0);
}

inline geometry::Profile hemisphere(double radius) {
  return superellipse(radius, radius, 2);
}

// A rounded foot of radius a and height b, then a wall from (a, h) down that draws in by `waist` and opens
// towards the rim by `flare`.
inline geometry::Profile vase(double a, double b, double h, double waist, double flare) {
  Meridian dense;
  for (int i = 0; i < 10000; ++i) {
    const double t = std::numbers::pi / 2 * i / 10000;
    dense.push_back({a * std::sin(t), h + b * std::cos(t)});
  }
  dense.front().x() = 0;
  for (int i = 0; i <= 10000; ++i) {
    const double s = i / 10000.0;  // smooth: zero slope at s = 0
    dense.push_back({a - waist * 27.0 / 4.0 * s * s * (1 - s) + flare * s * s * s, h * (1 - s)});
  }
  return from_dense(dense, 1.0);
}

inline std::vector<NamedForm> five_forms() {
  return {{"bowl", superellipse(130, 85, 2.0), 38},
          {"deep cup", superellipse(62, 115, 2.3), 28},
          {"wide platter", superellipse(180, 45, 1.7), 45},
          {"vase", vase(60, 55, 80, 5, 14), 30},
          {"near-cylinder", superellipse(70, 130, 4), 30}};
}

}  // namespace interstice::testing_forms
