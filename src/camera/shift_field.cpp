#include "camera/shift_field.h"

#include <algorithm>
#include <cmath>

namespace interstice::camera {
namespace {

// Where on the knots a coordinate lies: the first of four coefficients and their weights.
struct Along {
  int first;
  std::array<double, 4> weight;
};

Along along(double x, double cell, int count) {
  const double last = count - 3;  // cells
  const double at = std::clamp(x / cell, 0.0, last);
  const int first = std::min(static_cast<int>(at), count - 4);
  const double t = at - first;
  return {first,
          {(1 - t) * (1 - t) * (1 - t) / 6, (3 * t * t * t - 6 * t * t + 4) / 6,
           (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6, t * t * t / 6}};
}

}  // namespace

ShiftField::ShiftField(int width, int height, int cells)
    : width_(width), height_(height), cells_(cells), cell_px_(double(std::max(width, height)) / cells) {
  columns_ = static_cast<int>(std::ceil(width / cell_px_ - 1e-9)) + 3;
  rows_ = static_cast<int>(std::ceil(height / cell_px_ - 1e-9)) + 3;
  shifts_ = Eigen::MatrixX2d::Zero(coefficients(), 2);
}

ShiftField::Support ShiftField::support(const Eigen::Vector2d& pixel) const {
  const Along x = along(pixel.x() + 0.5, cell_px_, columns_), y = along(pixel.y() + 0.5, cell_px_, rows_);
  Support s;
  for (std::size_t j = 0; j < 4; ++j) {
    for (std::size_t i = 0; i < 4; ++i) {
      s.index[4 * j + i] =
          Eigen::Index(y.first + static_cast<int>(j)) * columns_ + x.first + static_cast<int>(i);
      s.weight[4 * j + i] = y.weight[j] * x.weight[i];
    }
  }
  return s;
}

Eigen::Vector2d ShiftField::at(const Eigen::Vector2d& pixel) const {
  const Support s = support(pixel);
  Eigen::Vector2d shift = Eigen::Vector2d::Zero();
  for (std::size_t k = 0; k < 16; ++k) shift += s.weight[k] * shifts_.row(s.index[k]).transpose();
  return shift;
}

ShiftField ShiftField::scaled(double scale) const {
  ShiftField out = *this;
  out.width_ = static_cast<int>(std::lround(width_ * scale));
  out.height_ = static_cast<int>(std::lround(height_ * scale));
  out.cell_px_ *= scale;
  out.shifts_ *= scale;
  return out;
}

}  // namespace interstice::camera
