// Normal equations of an arris, in the order of its unknowns (edges/arris_unknowns.h).
//
// Points of the outline are tied only to their two neighbours on either side, all else to everything. So all
// points but the last two, between which and the first the outline closes, make a band that is eliminated first;
// what is left is a fourth of the unknowns. For the room's own use.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <vector>

#include "edges/arris_unknowns.h"

namespace interstice::edges {

class ArrisNormal {
 public:
  // At least three points.
  explicit ArrisNormal(const ArrisUnknowns& u);

  // The matrix's element (i, j) and, with it, (j, i). Of two points no further than two apart round the outline.
  void add(Eigen::Index i, Eigen::Index j, double value) {
    const Eigen::Index a = std::min(i, j), b = std::max(i, j);
    if (b < head_) {
      band_[static_cast<std::size_t>(b - a)][a] += value;
    } else if (a < head_) {
      cross_(b - head_, a) += value;
    } else {
      tail_(b - head_, a - head_) += value;
    }
  }
  void add_right(Eigen::Index i, double value) { right_[i] += value; }
  // A reading of `offset` with this weight.
  void add(const ArrisUnknowns::Row& row, double weight, double offset);

  Eigen::VectorXd solve() const;
  Eigen::MatrixXd inverse() const;

 private:
  // L of the band (its diagonals), the tail's rows solved with it, and the matrix left for the tail.
  struct Eliminated {
    std::array<Eigen::VectorXd, 3> lower;
    Eigen::MatrixXd cross, tail;
  };
  Eliminated eliminate() const;

  Eigen::Index head_, size_;
  std::array<Eigen::VectorXd, 3> band_;  // main diagonal, and the two below it by column
  Eigen::MatrixXd cross_;                // tail x head
  Eigen::MatrixXd tail_;                 // lower triangle
  Eigen::VectorXd right_;
};

}  // namespace interstice::edges
