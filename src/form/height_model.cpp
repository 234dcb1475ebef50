#include "form/height_model.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace interstice::form {

namespace {

constexpr double kMeanKnot_mm = 5, kRoundKnot_mm = 25;
constexpr double kFade_mm = 20;    // radius within which changes round the axis fade out
constexpr double kRoundSd_mm = 2;  // a form turned by eye is out of round by hardly more
constexpr double kLevel = 1e-4;    // slope of m at the pole
constexpr double kLeastScatter_mm = 0.02;

// Curvature of the meridian, 1 / mm.
double bend_of(const geometry::Profile& form, double rho) {
  const double h = 4, from = std::max(0.0, rho - h), to = std::min(form.length(), rho + h);
  if (!(to > from)) return 0;
  const Eigen::Vector2d a = form.at(from).tangent, b = form.at(to).tangent;
  return std::abs(std::atan2(a.x() * b.y() - a.y() * b.x(), a.dot(b))) / (to - from);
}

}  // namespace

HeightModel::Row HeightModel::row_at(double rho, double theta) const {
  Row row;
  row.mean = mean_.at(rho);
  row.round = round_.at(rho);
  const double r = std::max(0.0, form_.at(rho).rz.x());
  row.fade = r < kFade_mm ? r / kFade_mm * r / kFade_mm : 1.0;
  for (int k = 0; k < kHarmonics; ++k) {
    row.turn(2 * k) = std::cos((k + 1) * theta);
    row.turn(2 * k + 1) = std::sin((k + 1) * theta);
  }
  return row;
}

double HeightModel::value(const Row& row, bool with_mean, bool with_rest) const {
  double h = 0;
  for (int i = 0; i < 4; ++i) {
    const auto n = static_cast<std::size_t>(i);
    if (with_mean) h += row.mean.value[n] * x_(row.mean.first + i);
    if (!with_rest) continue;
    for (int k = 0; k < 2 * kHarmonics; ++k)
      h += row.fade * row.turn(k) * row.round.value[n] * x_(round_offset(k) + row.round.first + i);
  }
  return h;
}

void HeightModel::add(const Row& row, double height, double weight, Eigen::MatrixXd& normal,
                      Eigen::VectorXd& right) const {
  constexpr int kUnknowns = 4 + 8 * kHarmonics;
  std::array<int, kUnknowns> at;
  std::array<double, kUnknowns> by;
  std::size_t n = 0;
  for (int i = 0; i < 4; ++i, ++n)
    at[n] = row.mean.first + i, by[n] = row.mean.value[static_cast<std::size_t>(i)];
  for (int k = 0; k < 2 * kHarmonics; ++k) {
    for (int i = 0; i < 4; ++i, ++n) {
      at[n] = round_offset(k) + row.round.first + i;
      by[n] = row.fade * row.turn(k) * row.round.value[static_cast<std::size_t>(i)];
    }
  }
  for (std::size_t i = 0; i < n; ++i) {
    const double w = weight * by[i];
    right(at[i]) += w * height;
    for (std::size_t j = 0; j <= i; ++j) normal(std::max(at[i], at[j]), std::min(at[i], at[j])) += w * by[j];
  }
}

// What is expected of such a form before it is measured.
Eigen::MatrixXd HeightModel::prior(const geometry::Profile& form) const {
  const int n = round_offset(2 * kHarmonics);
  Eigen::MatrixXd p = Eigen::MatrixXd::Zero(n, n);
  // The rough meridian's bend is right to about half of it and of the whole form's.
  const double usual = 0.5 / std::max(1.0, form.length());
  mean_.add_bend([&](double rho) { return usual + 0.5 * bend_of(form, rho); }, 0, p);
  const geometry::BSplineWeights slope = mean_.derivative_at(0);
  for (std::size_t i = 0; i < 4; ++i) {
    for (std::size_t j = 0; j < 4; ++j)
      p(slope.first + int(i), slope.first + int(j)) += slope.value[i] * slope.value[j] / (kLevel * kLevel);
  }
  // A change of kRoundSd_mm over the meridian's length.
  const double bend = 8 * kRoundSd_mm / (form.length() * form.length());
  for (int k = 0; k < 2 * kHarmonics; ++k) {
    round_.add_bend([&](double) { return bend; }, round_offset(k), p);
    for (int i = 0; i < round_.size(); ++i)
      p(round_offset(k) + i, round_offset(k) + i) += 1 / (kRoundSd_mm * kRoundSd_mm);
  }
  return p;
}

HeightModel::HeightModel(const std::vector<FormCell>& cells, const geometry::Profile& form, double cell_share)
    : mean_(0, form.length(), kMeanKnot_mm), round_(0, form.length(), kRoundKnot_mm), form_(form) {
  const Eigen::MatrixXd before = prior(form);
  std::vector<Row> rows;
  std::vector<double> heights;
  rows.reserve(cells.size());
  for (const FormCell& c : cells) rows.push_back(row_at(c.rho, c.theta)), heights.push_back(c.height);
  x_ = Eigen::VectorXd::Zero(before.rows());
  std::vector<double> off = heights;
  const double middle = core::median(off);
  for (double& d : off) d -= middle;
  scatter_ = std::max(kLeastScatter_mm, core::robust_sd_about(heights, middle));
  for (int round = 0; round < 6; ++round) {
    Eigen::MatrixXd normal = before;
    Eigen::VectorXd right = Eigen::VectorXd::Zero(before.rows());
    for (std::size_t i = 0; i < cells.size(); ++i) {
      // Cauchy's weight, squared: patches matched at a wrong height count nothing.
      const double r = off[i] / (2.5 * scatter_), w = 1 / (1 + r * r);
      add(rows[i], heights[i], w * w * cell_share / (scatter_ * scatter_), normal, right);
    }
    normal.triangularView<Eigen::StrictlyUpper>() = normal.transpose();
    solved_.compute(normal);
    x_ = solved_.solve(right);
    for (std::size_t i = 0; i < cells.size(); ++i) off[i] = heights[i] - value(rows[i], true, true);
    scatter_ = std::max(kLeastScatter_mm, core::robust_sd_about(off, 0));
  }
}

double HeightModel::mean(double rho) const {
  return value(row_at(rho, 0), true, false);
}

double HeightModel::mean_sd(double rho) const {
  Eigen::VectorXd row = Eigen::VectorXd::Zero(x_.size());
  const geometry::BSplineWeights b = mean_.at(rho);
  for (int i = 0; i < 4; ++i) row(b.first + i) = b.value[static_cast<std::size_t>(i)];
  return std::sqrt(std::max(0.0, row.dot(solved_.solve(row))));
}

double HeightModel::around(double rho, double theta) const {
  return value(row_at(rho, theta), false, true);
}

Eigen::Vector2d HeightModel::harmonic(int k, double rho) const {
  const Row row = row_at(rho, 0);
  Eigen::Vector2d ab(0, 0);
  for (int i = 0; i < 4; ++i) {
    const double w = row.fade * row.round.value[static_cast<std::size_t>(i)];
    ab.x() += w * x_(round_offset(2 * (k - 1)) + row.round.first + i);
    ab.y() += w * x_(round_offset(2 * (k - 1) + 1) + row.round.first + i);
  }
  return ab;
}

}  // namespace interstice::form
