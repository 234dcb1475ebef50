// A smooth field of small shifts over a photo: what a lens does beyond Brown's model.
//
// Model: two uniform cubic B-splines over the frame, a knot every `cell_px` pixels; shifts in pixels, zero at most
// places. Source: I. J. Schoenberg's cardinal splines (from memory).
#pragma once

#include <Eigen/Core>
#include <array>

namespace interstice::camera {

class ShiftField {
 public:
  // Cells along the long side of the frame; the short side gets as many of the same size as it needs.
  ShiftField(int width, int height, int cells);

  int width() const { return width_; }
  int height() const { return height_; }
  int cells() const { return cells_; }
  int columns() const { return columns_; }
  int rows() const { return rows_; }
  double cell_px() const { return cell_px_; }
  Eigen::Index coefficients() const { return Eigen::Index(columns_) * rows_; }
  // A row a coefficient (row by row over the frame), u and v in pixels.
  Eigen::MatrixX2d& shifts() { return shifts_; }
  const Eigen::MatrixX2d& shifts() const { return shifts_; }

  // The sixteen coefficients that act at a pixel, and how much each does; beyond the frame those of its border.
  struct Support {
    std::array<Eigen::Index, 16> index;
    std::array<double, 16> weight;
  };
  Support support(const Eigen::Vector2d& pixel) const;
  Eigen::Vector2d at(const Eigen::Vector2d& pixel) const;

  // For a picture of another size of the same aspect.
  ShiftField scaled(double scale) const;

 private:
  int width_, height_, cells_;
  double cell_px_;
  int columns_, rows_;
  Eigen::MatrixX2d shifts_;
};

}  // namespace interstice::camera
