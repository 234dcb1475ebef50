#include "geometry/smooth_curve.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace interstice::geometry {

BSplineBasis::BSplineBasis(double from, double to, double knot) : from_(from) {
  if (!(to > from) || !(knot > 0)) throw std::invalid_argument("a curve needs a length and knots along it");
  pieces_ = std::max(1, static_cast<int>(std::lround((to - from) / knot)));
  knot_ = (to - from) / pieces_;
}

int BSplineBasis::piece_of(double x, double& t) const {
  const double s = std::clamp((x - from_) / knot_, 0.0, static_cast<double>(pieces_));
  const int piece = std::min(static_cast<int>(s), pieces_ - 1);
  t = s - piece;
  return piece;
}

BSplineWeights BSplineBasis::at(double x) const {
  double t = 0;
  const int piece = piece_of(x, t);
  const double u = 1 - t;
  return {piece,
          {u * u * u / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6,
           t * t * t / 6}};
}

BSplineWeights BSplineBasis::second_derivative_at(double x) const {
  double t = 0;
  const int piece = piece_of(x, t);
  const double s = 1 / (knot_ * knot_);
  return {piece, {s * (1 - t), s * (3 * t - 2), s * (1 - 3 * t), s * t}};
}

BSplineWeights BSplineBasis::derivative_at(double x) const {
  double t = 0;
  const int piece = piece_of(x, t);
  const double s = 1 / (2 * knot_), u = 1 - t;
  return {piece, {-s * u * u, s * (3 * t * t - 4 * t), s * (-3 * t * t + 2 * t + 1), s * t * t}};
}

void BSplineBasis::add_bend(const std::function<double(double)>& bend_sd, int offset,
                            Eigen::MatrixXd& normal) const {
  for (int k = 0; k <= pieces_; ++k) {
    const double x = from_ + k * knot_, sd = bend_sd(x);
    const BSplineWeights d = second_derivative_at(x);
    for (int i = 0; i < 4; ++i) {
      for (int j = 0; j < 4; ++j) {
        normal(offset + d.first + i, offset + d.first + j) +=
            d.value[static_cast<std::size_t>(i)] * d.value[static_cast<std::size_t>(j)] / (sd * sd);
      }
    }
  }
}

SmoothCurve::SmoothCurve(double from, double to, double knot, double bend_sd) : basis_(from, to, knot) {
  prior_ = Eigen::MatrixXd::Zero(basis_.size(), basis_.size());
  basis_.add_bend([bend_sd](double) { return bend_sd; }, 0, prior_);
  clear_data();
}

void SmoothCurve::clear_data() {
  normal_ = prior_;
  right_ = Eigen::VectorXd::Zero(basis_.size());
}

void SmoothCurve::add(double x, double y, double weight) {
  const BSplineWeights b = basis_.at(x);
  for (int i = 0; i < 4; ++i) {
    const double wi = weight * b.value[static_cast<std::size_t>(i)];
    for (int j = 0; j < 4; ++j)
      normal_(b.first + i, b.first + j) += wi * b.value[static_cast<std::size_t>(j)];
    right_(b.first + i) += wi * y;
  }
}

void SmoothCurve::solve() {
  solved_.compute(normal_);
  coefficients_ = solved_.solve(right_);
}

double SmoothCurve::at(double x) const {
  const BSplineWeights b = basis_.at(x);
  double y = 0;
  for (int i = 0; i < 4; ++i) y += b.value[static_cast<std::size_t>(i)] * coefficients_(b.first + i);
  return y;
}

double SmoothCurve::sd(double x) const {
  const BSplineWeights b = basis_.at(x);
  Eigen::VectorXd row = Eigen::VectorXd::Zero(basis_.size());
  for (int i = 0; i < 4; ++i) row(b.first + i) = b.value[static_cast<std::size_t>(i)];
  return std::sqrt(std::max(0.0, row.dot(solved_.solve(row))));
}

}  // namespace interstice::geometry
