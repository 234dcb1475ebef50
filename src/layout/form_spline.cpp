#include "layout/form_spline.h"

#include <algorithm>
#include <cmath>

namespace interstice::layout {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// At t within the span [knots[k], knots[k + 1]], in homogeneous coordinates.
Vector2d de_boor(const SplineCurve& s, const std::vector<double>& knots, std::size_t k, double t) {
  const auto p = static_cast<std::size_t>(s.degree);
  std::vector<Vector3d> d;
  for (std::size_t j = 0; j <= p; ++j) {
    const std::size_t i = k - p + j;
    const double w = i < s.weights.size() && s.weights[i] > 0 ? s.weights[i] : 1.0;
    d.emplace_back(w * s.control[i].x(), w * s.control[i].y(), w);
  }
  for (std::size_t r = 1; r <= p; ++r) {
    for (std::size_t j = p; j >= r; --j) {
      const double from = knots[k - p + j], to = knots[k + 1 + j - r];
      const double a = to > from ? (t - from) / (to - from) : 0.0;
      d[j] = (1 - a) * d[j - 1] + a * d[j];
    }
  }
  return d[p].head<2>() / d[p].z();
}

Polyline through_points(const Polyline& q) {
  if (q.size() < 3) return q;
  std::vector<double> at{0};
  for (std::size_t i = 1; i < q.size(); ++i) at.push_back(at.back() + (q[i] - q[i - 1]).norm());
  const auto slope = [&](std::size_t i) {
    const std::size_t n = q.size();
    const auto chord = [&](std::size_t a) {
      return Vector2d((q[a + 1] - q[a]) / std::max(1e-12, at[a + 1] - at[a]));
    };
    if (i == 0) return chord(0);
    if (i + 1 == n) return chord(n - 2);
    const double h0 = at[i] - at[i - 1], h1 = at[i + 1] - at[i];
    return Vector2d((h1 * chord(i - 1) + h0 * chord(i)) / std::max(1e-12, h0 + h1));
  };
  Polyline out{q.front()};
  for (std::size_t i = 0; i + 1 < q.size(); ++i) {
    const double h = at[i + 1] - at[i];
    const Vector2d m0 = slope(i) * h, m1 = slope(i + 1) * h;
    for (int k = 1; k <= kChords; ++k) {
      const double t = static_cast<double>(k) / kChords, t2 = t * t, t3 = t2 * t;
      out.push_back((2 * t3 - 3 * t2 + 1) * q[i] + (t3 - 2 * t2 + t) * m0 + (-2 * t3 + 3 * t2) * q[i + 1] +
                    (t3 - t2) * m1);
    }
  }
  return out;
}

}  // namespace

Polyline chords_of(const SplineCurve& s) {
  if (s.control.size() < 2) return through_points(s.through);
  const auto p = static_cast<std::size_t>(std::max(1, s.degree));
  const std::size_t n = s.control.size();
  if (n <= p) return {};
  std::vector<double> knots = s.knots;
  if (knots.size() != n + p + 1) {  // even, its ends on the first and last control point
    knots.clear();
    for (std::size_t i = 0; i < n + p + 1; ++i) {
      const double k = static_cast<double>(i) - static_cast<double>(p);
      knots.push_back(std::clamp(k, 0.0, static_cast<double>(n - p)));
    }
  }
  if (!std::is_sorted(knots.begin(), knots.end())) return {};
  Polyline out;
  for (std::size_t k = p; k < n; ++k) {
    if (!(knots[k + 1] > knots[k])) continue;
    for (int c = out.empty() ? 0 : 1; c <= kChords; ++c)
      out.push_back(de_boor(s, knots, k, knots[k] + (knots[k + 1] - knots[k]) * c / kChords));
  }
  return out;
}

}  // namespace interstice::layout
