// A smooth curve through many uncertain values: cubic B-splines on even knots whose second derivative is held
// small (P-splines; Eilers and Marx, Statistical Science 11, 1996).
//
// Model: y(x) = sum of c_k B_k(x). Solved for are the c_k that minimise
//   sum of w_i (y(x_i) - y_i)^2 + sum over knots of (y'' at the knot)^2 / bend_sd^2,
// so `bend_sd` is the standard deviation of the second derivative that is expected before anything is
// measured, and the inverse of the normal matrix is the covariance of the c_k. Where nothing is measured the
// curve goes on with the least bend. Units are the caller's; y'' in units of y over x squared.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <array>
#include <functional>

namespace interstice::geometry {

// Which B-splines are not zero at a place, and their values.
struct BSplineWeights {
  int first = 0;
  std::array<double, 4> value{};
};

class BSplineBasis {
 public:
  BSplineBasis() = default;
  // Covers [from, to] with pieces of about `knot`. Throws std::invalid_argument unless to > from, knot > 0.
  BSplineBasis(double from, double to, double knot);

  int size() const { return pieces_ + 3; }
  double knot() const { return knot_; }
  BSplineWeights at(double x) const;  // x outside is taken to the nearer end
  BSplineWeights second_derivative_at(double x) const;
  BSplineWeights derivative_at(double x) const;
  // Adds (y'' at every knot)^2 / bend_sd(x)^2 to a normal matrix, its first unknown at `offset`.
  void add_bend(const std::function<double(double)>& bend_sd, int offset, Eigen::MatrixXd& normal) const;

 private:
  int piece_of(double x, double& t) const;
  double from_ = 0, knot_ = 1;
  int pieces_ = 1;
};

// One curve by itself.
class SmoothCurve {
 public:
  SmoothCurve(double from, double to, double knot, double bend_sd);
  void add(double x, double y, double weight);
  void clear_data();
  void solve();  // call before at() and sd()
  double at(double x) const;
  double sd(double x) const;  // standard deviation from the weights (1 / variance) and the bend's prior

 private:
  BSplineBasis basis_;
  Eigen::MatrixXd normal_, prior_;
  Eigen::VectorXd right_, coefficients_;
  Eigen::LDLT<Eigen::MatrixXd> solved_;
};

}  // namespace interstice::geometry
