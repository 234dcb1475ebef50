// The unknowns of one piece's arris, and what each reading says of them (model: edges/trace_arris.h).
#pragma once

#include <Eigen/Core>
#include <vector>

#include "edges/edge_steps.h"
#include "geometry/polygon.h"

namespace interstice::edges {

// The unknowns: d of every point; h, a, b of the plane z = h + a x + b y; the corner's darkness k on sides of
// the outward normal n (k = k0 + k1 n.x + k2 n.y, exact for light of any distribution on a matt corner none
// of which is hidden).
class ArrisUnknowns {
 public:
  ArrisUnknowns(const geometry::Polygon& outline, const std::vector<Eigen::Vector2d>& normals,
                const BrokenCorner& corner)
      : outline_(outline), normals_(normals), corner_(corner) {}
  const Eigen::Vector2d& at(std::size_t point) const { return outline_[point]; }
  const Eigen::Vector2d& normal(std::size_t point) const { return normals_[point]; }
  Eigen::Index points() const { return static_cast<Eigen::Index>(outline_.size()); }
  Eigen::Index plane() const { return points(); }
  Eigen::Index size() const { return points() + 7; }
  Eigen::Index shade() const { return points() + 3; }
  Eigen::Index wider() const { return points() + 6; }

  // Non-zero derivatives of an observed offset: index and value.
  static constexpr int kTerms = 8;
  struct Row {
    Eigen::Index index[kTerms];
    double value[kTerms];
  };
  Row row(const ArrisObservation& o) const {
    const Eigen::Vector2d& p = outline_[o.point];
    const Eigen::Vector2d& n = normals_[o.point];
    return {{static_cast<Eigen::Index>(o.point), plane(), plane() + 1, plane() + 2, shade(), shade() + 1,
             shade() + 2, wider()},
            {1, -o.slope, -o.slope * p.x(), -o.slope * p.y(), o.shade_mm, o.shade_mm * n.x(),
             o.shade_mm * n.y(), rim_is_contour(corner_, o.slope) ? -1.0 : 0.0}};
  }
  double residual(const ArrisObservation& o, const Eigen::VectorXd& x) const {
    const Row r = row(o);
    double sum = o.offset_mm;
    for (int k = 0; k < kTerms; ++k) sum -= r.value[k] * x[r.index[k]];
    return sum;
  }

 private:
  const geometry::Polygon& outline_;
  const std::vector<Eigen::Vector2d>& normals_;
  const BrokenCorner& corner_;
};

}  // namespace interstice::edges
