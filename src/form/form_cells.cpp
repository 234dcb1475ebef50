#include "form/form_cells.h"

#include <algorithm>
#include <cmath>

namespace interstice::form {

surface::HeightField sweep_form(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::Profile& form, const SweepRange& range, double grid_mm, int threads) {
  surface::HeightOptions heights;
  heights.lowest_mm = -range.range_mm;
  heights.highest_mm = range.range_mm;
  heights.step_mm = range.step_mm;
  heights.threads = threads;
  return surface::sweep_heights(scan, pictures, form, surface::MapGrid::covering(form.length() + 2, grid_mm),
                                heights);
}

std::vector<FormCell> form_cells(const surface::HeightField& field, double to_rho) {
  std::vector<FormCell> cells;
  for (int row = 0; row < field.grid.side(); ++row) {
    for (int column = 0; column < field.grid.side(); ++column) {
      const Eigen::Vector2d uv = field.grid.uv(column, row);
      const double h = static_cast<double>(field.height.at<float>(row, column)), rho = uv.norm();
      if (std::isfinite(h) && rho < to_rho) cells.push_back({rho, std::atan2(uv.y(), uv.x()), h});
    }
  }
  return cells;
}

double cell_share(double grid_mm) {
  return std::min(1.0, grid_mm * grid_mm / (kPatchSide_mm * kPatchSide_mm));
}

}  // namespace interstice::form
