// Least squares for the photos' shifts (model: edges/photo_agreement.h): normal equations by halves of the pieces, and
// how free each kind of shift is. For the room's own use.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "camera/shift_field.h"
#include "geometry/index.h"

namespace interstice::edges {

// What one photo says of one point of an edge.
struct ShiftReading {
  geometry::PhotoIndex photo;
  std::size_t lens = 0;
  Eigen::Vector2d pixel;
  Eigen::Vector2d per_px;  // mm across the edge by a pixel of shift in u and v
  double slope = 0;
  double residual_mm = 0, weight = 0;  // 1 / mm2
};

class ShiftFit {
 public:
  // `fields`: empty ones, of each lens.
  ShiftFit(std::size_t photos, std::vector<camera::ShiftField> fields);

  // The readings of one point; its own place is eliminated.
  void add_point(const std::vector<ShiftReading>& readings, std::size_t half);

  // How free shifts are: standard deviations of an affine function's numbers, in pixels at the border of the frame, and
  // of a field's second differences. 0: none.
  struct Freedom {
    double affine_px = 0, field_px = 0;
  };
  // The freedom that explains most of one half's readings by the other; none where nothing explains more than without.
  Freedom best_freedom() const;

  enum class From { both, first, second };
  Eigen::VectorXd solve(const Freedom& freedom, From from) const;
  // By how much a solution moves a reading across its edge, mm.
  double across_mm(const Eigen::VectorXd& solution, const ShiftReading& reading) const;
  // The solution for one photo as a field over its frame.
  camera::ShiftField field_of(const Eigen::VectorXd& solution, geometry::PhotoIndex photo,
                              std::size_t lens) const;

 private:
  using Entries = std::vector<std::pair<Eigen::Index, double>>;
  Entries shift_row(const ShiftReading& reading) const;
  Eigen::Vector2d in_frame(const Eigen::Vector2d& pixel, std::size_t lens) const;
  Eigen::Index affine_at(geometry::PhotoIndex photo) const;
  Eigen::Index field_at(std::size_t lens) const;
  double explained(const Freedom& freedom) const;
  void add_priors(const Freedom& freedom, Eigen::MatrixXd& normal) const;

  std::size_t photos_;
  std::vector<camera::ShiftField> fields_;
  Eigen::Index size_;
  std::array<Eigen::MatrixXd, 2> normal_;
  std::array<Eigen::VectorXd, 2> right_;
  std::array<double, 2> squares_{0, 0};
};

}  // namespace interstice::edges
