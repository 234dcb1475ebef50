#include "form/form_cells.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "core/median.h"

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

void drop_noise(const HeightModel& model, double range_mm, surface::HeightField& field) {
  constexpr double kAlong_mm = 8, kSectors = 12, kWhole_mm = 30;
  using Key = std::pair<int, int>;
  const surface::MapGrid& grid = field.grid;
  const auto key_of = [&](const Eigen::Vector2d& uv) {
    const double turn = std::atan2(uv.y(), uv.x()) / (2 * std::numbers::pi) + 0.5;
    return Key(static_cast<int>(uv.norm() / kAlong_mm),
               uv.norm() < kWhole_mm ? 0 : static_cast<int>(turn * kSectors));
  };
  std::map<Key, std::vector<double>> off;
  const auto each = [&](const auto& act) {
    for (int row = 0; row < grid.side(); ++row) {
      for (int column = 0; column < grid.side(); ++column) {
        float& h = field.height.at<float>(row, column);
        if (std::isfinite(h)) act(grid.uv(column, row), h);
      }
    }
  };
  each([&](const Eigen::Vector2d& uv, const float& h) {
    off[key_of(uv)].push_back(static_cast<double>(h) - model.mean(uv.norm()));
  });
  // Heights evenly scattered over the range have a robust standard deviation of three quarters of it.
  std::map<Key, bool> noise;
  for (const auto& [key, values] : off)
    noise[key] = core::robust_sd_about(values, core::median(values)) > range_mm / 6;
  each([&](const Eigen::Vector2d& uv, float& h) {
    if (noise[key_of(uv)]) h = NAN;
  });
}

double cell_share(double grid_mm) {
  return std::min(1.0, grid_mm * grid_mm / (kPatchSide_mm * kPatchSide_mm));
}

}  // namespace interstice::form
