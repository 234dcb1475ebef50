#include "edges/arris_normal.h"

#include <Eigen/Cholesky>
#include <cmath>

namespace interstice::edges {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

namespace {

using Lower = std::array<VectorXd, 3>;

// Solves with the band's L^T, from the last to the first: every column of `columns` is one place of the band.
void solve_back(const Lower& lower, Eigen::Ref<MatrixXd> columns) {
  for (Index i = columns.cols() - 1; i >= 0; --i) {
    if (i + 1 < columns.cols()) columns.col(i) -= lower[1][i] * columns.col(i + 1);
    if (i + 2 < columns.cols()) columns.col(i) -= lower[2][i] * columns.col(i + 2);
    columns.col(i) /= lower[0][i];
  }
}

// The same with L, from the first to the last.
void solve_forward(const Lower& lower, Eigen::Ref<MatrixXd> columns) {
  for (Index i = 0; i < columns.cols(); ++i) {
    if (i >= 1) columns.col(i) -= lower[1][i - 1] * columns.col(i - 1);
    if (i >= 2) columns.col(i) -= lower[2][i - 2] * columns.col(i - 2);
    columns.col(i) /= lower[0][i];
  }
}

}  // namespace

ArrisNormal::ArrisNormal(const ArrisUnknowns& u) : head_(u.points() - 2), size_(u.size()) {
  band_.fill(VectorXd::Zero(head_));
  cross_ = MatrixXd::Zero(size_ - head_, head_);
  tail_ = MatrixXd::Zero(size_ - head_, size_ - head_);
  right_ = VectorXd::Zero(size_);
}

void ArrisNormal::add(const ArrisUnknowns::Row& row, double weight, double offset) {
  constexpr int kTerms = ArrisUnknowns::kTerms;
  const Index point = row.index[0];
  right_[point] += weight * row.value[0] * offset;
  add(point, point, weight * row.value[0] * row.value[0]);
  for (int p = 1; p < kTerms; ++p) {
    const double w = weight * row.value[p];
    right_[row.index[p]] += w * offset;
    add(point, row.index[p], w * row.value[0]);
    for (int q = 1; q <= p; ++q) {
      const auto [b, a] = std::minmax(row.index[p], row.index[q]);
      tail_(a - head_, b - head_) += w * row.value[q];
    }
  }
}

ArrisNormal::Eliminated ArrisNormal::eliminate() const {
  Eliminated e{band_, cross_, tail_};
  auto& [diagonal, next, second] = e.lower;
  for (Index i = 0; i < head_; ++i) {
    if (i >= 1) diagonal[i] -= next[i - 1] * next[i - 1];
    if (i >= 2) diagonal[i] -= second[i - 2] * second[i - 2];
    diagonal[i] = std::sqrt(diagonal[i]);
    if (i >= 1) next[i] -= second[i - 1] * next[i - 1];
    next[i] /= diagonal[i];
    second[i] /= diagonal[i];
  }
  solve_forward(e.lower, e.cross);
  e.tail.selfadjointView<Eigen::Lower>().rankUpdate(e.cross, -1);
  return e;
}

VectorXd ArrisNormal::solve() const {
  const Eliminated e = eliminate();
  MatrixXd head = right_.head(head_).transpose();  // one right side
  solve_forward(e.lower, head);
  VectorXd out(size_);
  auto tail = out.tail(size_ - head_);
  tail = e.tail.ldlt().solve(right_.tail(size_ - head_) - e.cross * head.transpose());
  head -= tail.transpose() * e.cross;
  solve_back(e.lower, head);
  out.head(head_) = head.transpose();
  return out;
}

MatrixXd ArrisNormal::inverse() const {
  const Index rest = size_ - head_;
  Eliminated e = eliminate();
  solve_back(e.lower, e.cross);
  MatrixXd out(size_, size_);
  out.bottomRightCorner(rest, rest) = e.tail.ldlt().solve(MatrixXd::Identity(rest, rest));
  out.topRightCorner(head_, rest).noalias() = -e.cross.transpose() * out.bottomRightCorner(rest, rest);
  out.bottomLeftCorner(rest, head_) = out.topRightCorner(head_, rest).transpose();
  MatrixXd band = MatrixXd::Identity(head_, head_);
  solve_forward(e.lower, band);
  solve_back(e.lower, band);
  band.noalias() -= out.topRightCorner(head_, rest) * e.cross;
  out.topLeftCorner(head_, head_) = band;
  return out;
}

}  // namespace interstice::edges
