// A square grid on the map of the form.
//
// Cell (column, row) has its centre at u = (column - centre) * step, v = (centre - row) * step: u to the
// right, v up, the pole in the middle cell. Values are CV_32F with NaN where nothing is known.
#pragma once

#include <Eigen/Core>
#include <cmath>

namespace interstice::surface {

struct MapGrid {
  double step_mm = 1.0;
  int centre = 0;  // of both axes; the grid has 2 * centre + 1 cells a side

  // Covers the map out to rho_mm.
  static MapGrid covering(double rho_mm, double step_mm) {
    return {step_mm, static_cast<int>(std::ceil(rho_mm / step_mm)) + 1};
  }
  int side() const { return 2 * centre + 1; }
  Eigen::Vector2d uv(int column, int row) const {
    return {(column - centre) * step_mm, (centre - row) * step_mm};
  }
  Eigen::Vector2d cell(const Eigen::Vector2d& uv) const {  // (column, row), fractional
    return {uv.x() / step_mm + centre, centre - uv.y() / step_mm};
  }
};

}  // namespace interstice::surface
