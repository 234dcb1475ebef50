// Heights over a form of revolution as a smooth function of the place: the meridian's own correction, and what
// changes round the axis.
//
// Model: h(rho, theta) = m(rho) + sum over k = 1..4 of f(rho) (a_k(rho) cos k theta + b_k(rho) sin k theta),
// m and the a, b smooth curves (geometry/smooth_curve.h), f falling to 0 towards the pole, where nothing can
// change with theta. m is level at the pole. k = 1 is an axis elsewhere or leaning, k = 2 an oval. Fitted
// robustly to map cells; neighbouring cells share patches of the photos, so a cell counts as the part of a
// patch that it is. mm, radians.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <vector>

#include "geometry/profile.h"
#include "geometry/smooth_curve.h"

namespace interstice::form {

struct FormCell {
  double rho = 0, theta = 0, height = 0;
};

class HeightModel {
 public:
  static constexpr int kHarmonics = 4;

  // `cell_share`: of a patch of the photos compared, what one cell adds.
  HeightModel(const std::vector<FormCell>& cells, const geometry::Profile& form, double cell_share);

  double mean(double rho) const;                  // m
  double mean_sd(double rho) const;               // from the scatter, standard deviation
  double around(double rho, double theta) const;  // the rest
  // f a_k and f b_k.
  Eigen::Vector2d harmonic(int k, double rho) const;
  double scatter() const { return scatter_; }  // of the cells about the model, robust standard deviation

 private:
  struct Row {  // the unknowns that a cell depends on
    geometry::BSplineWeights mean, round;
    double fade = 0;
    Eigen::Matrix<double, 2 * kHarmonics, 1> turn;
  };
  Row row_at(double rho, double theta) const;
  double value(const Row& row, bool with_mean, bool with_rest) const;
  void add(const Row& row, double height, double weight, Eigen::MatrixXd& normal,
           Eigen::VectorXd& right) const;
  int round_offset(int harmonic) const { return mean_.size() + harmonic * round_.size(); }
  Eigen::MatrixXd prior(const geometry::Profile& form) const;

  geometry::BSplineBasis mean_, round_;
  geometry::Profile form_;
  Eigen::VectorXd x_;
  Eigen::LDLT<Eigen::MatrixXd> solved_;
  double scatter_ = 0;
};

}  // namespace interstice::form
