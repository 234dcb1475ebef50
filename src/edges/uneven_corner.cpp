#include "edges/uneven_corner.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::edges {

using Eigen::MatrixXd;
using Eigen::VectorXd;

namespace {

constexpr double kAlong_mm = 6;     // a fingertip behind the paper (common practice, no source)
constexpr double kOwn = 0.01;       // of the variance, each knot's own: keeps the inverse sound
constexpr double kBowlPlaces = 4;   // the bowl's unevenness counts as much as this many places of a piece
constexpr double kLeast_mm = 0.01;  // no edge is read better

}  // namespace

MatrixXd knots_precision(const ArrisUnknowns& u) {
  const Eigen::Index m = u.knots();
  const double apart = u.perimeter_mm() / static_cast<double>(m);
  MatrixXd correlation(m, m);
  for (Eigen::Index i = 0; i < m; ++i) {
    for (Eigen::Index j = 0; j < m; ++j) {
      // Both ways round, so that the ends meet.
      double sum = 0;
      for (const Eigen::Index lap : {Eigen::Index{0}, m, -m}) {
        const double x = apart * static_cast<double>(i - j + lap) / kAlong_mm;
        sum += std::exp(-0.5 * x * x);
      }
      correlation(i, j) = sum + (i == j ? kOwn : 0.0);
    }
  }
  return correlation.ldlt().solve(MatrixXd::Identity(m, m));
}

double uneven_square(const ArrisUnknowns& u, const VectorXd& now, const VectorXd& x, const MatrixXd& inverse,
                     double alike) {
  const VectorXd height = now + x.segment(u.knot(), u.knots());
  const double spread = alike * inverse.diagonal().segment(u.knot(), u.knots()).sum();
  return (height.squaredNorm() + spread) / static_cast<double>(u.knots());
}

double uneven_of_piece(const ArrisUnknowns& u, double bowl_mm, double own_square_mm2) {
  const double places = u.perimeter_mm() / (std::sqrt(2 * std::numbers::pi) * kAlong_mm);
  const double square = (kBowlPlaces * bowl_mm * bowl_mm + places * own_square_mm2) / (kBowlPlaces + places);
  return std::max(kLeast_mm, std::sqrt(square));
}

}  // namespace interstice::edges
