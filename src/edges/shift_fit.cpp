#include "edges/shift_fit.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "camera/field_prior.h"

namespace interstice::edges {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::Vector2d;
using Eigen::VectorXd;

namespace {

constexpr Index kClasses = 3;  // of views that may err alike: onto a wall, the more aslant, and contours
constexpr double kMostSlope = 2;
constexpr Index kAffine = 6;
// Standard deviations tried, pixels: each twice the one before.
constexpr double kLeast_px = 1.0 / 32;
constexpr int kTried = 6;

}  // namespace

ShiftFit::ShiftFit(std::size_t photos, std::vector<camera::ShiftField> fields)
    : photos_(photos), fields_(std::move(fields)) {
  size_ = field_at(fields_.size());
  normal_.fill(MatrixXd::Zero(size_, size_));
  right_.fill(VectorXd::Zero(size_));
}

Index ShiftFit::affine_at(geometry::PhotoIndex photo) const {
  return kClasses + kAffine * static_cast<Index>(photo.value);
}

Index ShiftFit::field_at(std::size_t lens) const {
  Index at = affine_at(geometry::PhotoIndex(photos_));
  for (std::size_t l = 0; l < lens; ++l) at += 2 * fields_[l].coefficients();
  return at;
}

// From -1 to 1 along the long side.
Vector2d ShiftFit::in_frame(const Vector2d& pixel, std::size_t lens) const {
  const camera::ShiftField& f = fields_[lens];
  return (2 * pixel - Vector2d(f.width(), f.height())) / std::max(f.width(), f.height());
}

ShiftFit::Entries ShiftFit::shift_row(const ShiftReading& r) const {
  Entries row;
  const Vector2d at = in_frame(r.pixel, r.lens);
  const std::array<double, 3> linear{1, at.x(), at.y()};
  for (Index c = 0; c < 2; ++c) {
    for (Index k = 0; k < 3; ++k)
      row.emplace_back(affine_at(r.photo) + 3 * c + k, r.per_px[c] * linear[static_cast<std::size_t>(k)]);
  }
  const camera::ShiftField::Support support = fields_[r.lens].support(r.pixel);
  for (std::size_t k = 0; k < support.index.size(); ++k) {
    for (Index c = 0; c < 2; ++c)
      row.emplace_back(field_at(r.lens) + 2 * support.index[k] + c, r.per_px[c] * support.weight[k]);
  }
  return row;
}

void ShiftFit::add_point(const std::vector<ShiftReading>& readings, std::size_t half) {
  if (readings.size() < 2) return;
  std::vector<Entries> rows;
  std::vector<Index> used;
  double weight = 0, mean = 0;
  for (const ShiftReading& r : readings) {
    rows.push_back(shift_row(r));
    rows.back().emplace_back(r.slope < 0 ? 2 : 1, std::clamp(r.slope, -kMostSlope, kMostSlope));
    if (r.slope >= 0) rows.back().emplace_back(0, 1.0);
    for (const auto& [column, value] : rows.back()) used.push_back(column);
    weight += r.weight;
    mean += r.weight * r.residual_mm;
  }
  if (!(weight > 0)) return;
  std::sort(used.begin(), used.end());
  used.erase(std::unique(used.begin(), used.end()), used.end());
  const auto n = static_cast<Index>(readings.size()), m = static_cast<Index>(used.size());
  // The last column is the residual.
  MatrixXd a = MatrixXd::Zero(n, m + 1);
  VectorXd w(n);
  for (Index i = 0; i < n; ++i) {
    const ShiftReading& r = readings[static_cast<std::size_t>(i)];
    w[i] = r.weight;
    for (const auto& [column, value] : rows[static_cast<std::size_t>(i)])
      a(i, std::lower_bound(used.begin(), used.end(), column) - used.begin()) += value;
    a(i, m) = r.residual_mm;
  }
  a.rowwise() -= ((w.transpose() * a) / weight).eval().row(0);
  const MatrixXd product = a.transpose() * w.asDiagonal() * a;
  for (Index i = 0; i < m; ++i) {
    const Index at = used[static_cast<std::size_t>(i)];
    right_[half][at] += product(i, m);
    for (Index j = 0; j < m; ++j) normal_[half](at, used[static_cast<std::size_t>(j)]) += product(i, j);
  }
  squares_[half] += product(m, m);
}

void ShiftFit::add_priors(const Freedom& freedom, MatrixXd& normal) const {
  const double none = 1e6 * (normal.trace() / static_cast<double>(size_) + 1);
  const double little = 1e-9 * (normal.trace() / static_cast<double>(size_) + 1);
  const auto precision = [&](double sd) { return sd > 0 ? 1 / (sd * sd) : none; };
  normal.diagonal().head(kClasses).array() += little;
  normal.diagonal().segment(kClasses, field_at(0) - kClasses).array() += precision(freedom.affine_px);
  for (std::size_t l = 0; l < fields_.size(); ++l) {
    const Index first = field_at(l);
    normal.diagonal().segment(first, 2 * fields_[l].coefficients()).array() +=
        precision(camera::kWeakField * freedom.field_px);
    if (!(freedom.field_px > 0)) continue;
    camera::for_neighbours_in_threes(fields_[l], [&](Index x, Index y, Index z) {
      const std::array<std::pair<Index, double>, 3> difference{{{x, 1}, {y, -2}, {z, 1}}};
      for (Index c = 0; c < 2; ++c) {
        for (const auto& [i, by_i] : difference) {
          for (const auto& [j, by_j] : difference)
            normal(first + 2 * i + c, first + 2 * j + c) += by_i * by_j * precision(freedom.field_px);
        }
      }
    });
  }
}

VectorXd ShiftFit::solve(const Freedom& freedom, From from) const {
  MatrixXd normal = MatrixXd::Zero(size_, size_);
  VectorXd right = VectorXd::Zero(size_);
  for (std::size_t half = 0; half < 2; ++half) {
    if ((from == From::first && half == 1) || (from == From::second && half == 0)) continue;
    normal += normal_[half];
    right += right_[half];
  }
  add_priors(freedom, normal);
  // What is not free stays nought and out of the way.
  const Index free = freedom.field_px > 0 ? size_ : freedom.affine_px > 0 ? field_at(0) : kClasses;
  VectorXd out = VectorXd::Zero(size_);
  out.head(free) = normal.topLeftCorner(free, free).llt().solve(right.head(free));
  return out;
}

// By how much shifts learnt from either half lessen the squares of the other's readings, as a share of them.
double ShiftFit::explained(const Freedom& freedom) const {
  double gain = 0;
  for (std::size_t half = 0; half < 2; ++half) {
    const VectorXd x = solve(freedom, half == 0 ? From::second : From::first);
    gain += 2 * right_[half].dot(x) - x.dot(normal_[half] * x);
  }
  return gain / (squares_[0] + squares_[1]);
}

ShiftFit::Freedom ShiftFit::best_freedom() const {
  Freedom best;
  if (!(squares_[0] > 0 && squares_[1] > 0)) return best;
  double most = explained(best);
  // The first again once there is a field: without one its work looks like noise.
  for (double Freedom::*kind : {&Freedom::affine_px, &Freedom::field_px, &Freedom::affine_px}) {
    if (kind == &Freedom::affine_px && best.affine_px > 0 && !(best.field_px > 0)) continue;
    Freedom found = best;
    double share = most;
    for (int k = 0; k < kTried; ++k) {
      Freedom tried = best;
      tried.*kind = std::ldexp(kLeast_px, k);
      const double here = explained(tried);
      if (here > share) share = here, found = tried;
    }
    if (found.*kind > 0) best = found, most = share;
  }
  return best;
}

double ShiftFit::across_mm(const VectorXd& solution, const ShiftReading& r) const {
  double sum = 0;
  for (const auto& [column, value] : shift_row(r)) sum += value * solution[column];
  return sum;
}

camera::ShiftField ShiftFit::field_of(const VectorXd& solution, geometry::PhotoIndex photo,
                                      std::size_t lens) const {
  camera::ShiftField out = fields_[lens];
  const auto affine = solution.segment<kAffine>(affine_at(photo));
  for (int y = 0; y < out.rows(); ++y) {
    for (int x = 0; x < out.columns(); ++x) {
      // A cubic spline is linear where its coefficients are, at their own places.
      const Vector2d at = in_frame({(x - 1) * out.cell_px() - 0.5, (y - 1) * out.cell_px() - 0.5}, lens);
      const Index k = Index(y) * out.columns() + x;
      for (Index c = 0; c < 2; ++c) {
        out.shifts()(k, c) = affine[3 * c] + affine[3 * c + 1] * at.x() + affine[3 * c + 2] * at.y() +
                             solution[field_at(lens) + 2 * k + c];
      }
    }
  }
  return out;
}

}  // namespace interstice::edges
