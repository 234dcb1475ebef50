// The unknowns of one piece's arris, and what each reading says of them (model: edges/trace_arris.h).
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <vector>

#include "edges/edge_steps.h"
#include "geometry/polygon.h"

namespace interstice::edges {

// The unknowns: d of every point; h, a, b of the plane z = h + a x + b y; the corner's darkness k on sides of
// the outward normal n (k = k0 + k1 n.x + k2 n.y, exact for light of any distribution on a matt corner none
// of which is hidden); how much wider for its height the corner is than taken; and at knots along
// the outline how much higher over the plane than now the arris lies, linear in between.
class ArrisUnknowns {
 public:
  explicit ArrisUnknowns(const ArrisLine& line)
      : line_(line),
        perimeter_mm_(geometry::perimeter(line.outline)),
        knots_(std::max<Eigen::Index>(4, std::lround(perimeter_mm_ / kKnots_mm))) {}
  const Eigen::Vector2d& at(std::size_t point) const { return line_.outline[point]; }
  const Eigen::Vector2d& normal(std::size_t point) const { return line_.normals[point]; }
  double perimeter_mm() const { return perimeter_mm_; }
  Eigen::Index points() const { return static_cast<Eigen::Index>(line_.outline.size()); }
  Eigen::Index plane() const { return points(); }
  Eigen::Index shade() const { return points() + 3; }
  Eigen::Index wider() const { return points() + 6; }
  Eigen::Index knot() const { return points() + 7; }
  Eigen::Index knots() const { return knots_; }
  Eigen::Index size() const { return points() + 7 + knots_; }

  // Between which knots a point lies, and how far from the first to the second.
  struct Between {
    Eigen::Index first, second;
    double t;
  };
  Between knots_about(std::size_t point) const {
    const double at =
        static_cast<double>(point) * static_cast<double>(knots_) / static_cast<double>(points());
    const auto first = static_cast<Eigen::Index>(at);
    return {knot() + first % knots_, knot() + (first + 1) % knots_, at - static_cast<double>(first)};
  }

  // How much higher a point of the arris lies, of all unknowns: index and value.
  static constexpr int kHeightTerms = 5;
  struct HeightRow {
    Eigen::Index index[kHeightTerms];
    double value[kHeightTerms];
  };
  HeightRow height_row(std::size_t point) const {
    const Between k = knots_about(point);
    const Eigen::Vector2d& p = at(point);
    return {{plane(), plane() + 1, plane() + 2, k.first, k.second}, {1, p.x(), p.y(), 1 - k.t, k.t}};
  }

  // Non-zero derivatives of an observed offset: index and value. The arris, a point higher by z, is seen
  // shifted by -slope z. The rim stays at the face's height, but where the corner is lower by z it is
  // narrower as well: the rim is seen shifted by aspect z.
  static constexpr int kTerms = 10;
  struct Row {
    Eigen::Index index[kTerms];
    double value[kTerms];
  };
  Row row(const ArrisObservation& o) const {
    const Eigen::Vector2d& n = normal(o.point);
    const BrokenCorner& corner = line_.corners[o.point];
    const bool rim = rim_is_contour(corner, o.slope);
    const double by_height = rim ? aspect(corner) : -o.slope;
    const HeightRow z = height_row(o.point);
    return {{static_cast<Eigen::Index>(o.point), z.index[0], z.index[1], z.index[2], z.index[3], z.index[4],
             shade(), shade() + 1, shade() + 2, wider()},
            {1, by_height * z.value[0], by_height * z.value[1], by_height * z.value[2],
             by_height * z.value[3], by_height * z.value[4], o.shade_mm, o.shade_mm * n.x(),
             o.shade_mm * n.y(), rim ? -corner.height_mm : 0.0}};
  }
  double residual(const ArrisObservation& o, const Eigen::VectorXd& x) const {
    return residual(row(o), o.offset_mm, x);
  }
  // With the row at hand.
  static double residual(const Row& row, double offset_mm, const Eigen::VectorXd& x) {
    for (int k = 0; k < kTerms; ++k) offset_mm -= row.value[k] * x[row.index[k]];
    return offset_mm;
  }
  double higher(std::size_t point, const Eigen::VectorXd& x) const {
    const Between k = knots_about(point);
    return (1 - k.t) * x[k.first] + k.t * x[k.second];
  }

 private:
  static constexpr double kKnots_mm = 3;  // apart: half of what one stroke of sanding keeps alike

  const ArrisLine& line_;
  double perimeter_mm_;
  Eigen::Index knots_;
};

}  // namespace interstice::edges
