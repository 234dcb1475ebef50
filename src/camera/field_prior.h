// What is known beforehand of a lens's field of shifts: how fine it is, and that its second differences are small.
#pragma once

#include "camera/shift_field.h"

namespace interstice::camera {

// Cells along the long side of a photo: a lens's own waves are longer than a twelfth of it (common practice, no source).
inline constexpr int kLensCells = 12;
// Standard deviation of a coefficient itself, in those of second differences: one that nothing reaches stays near nought.
inline constexpr double kWeakField = 3;

// Calls `each` with the coefficients that are neighbours in a row or a column, three at a time.
template <class Each>
void for_neighbours_in_threes(const ShiftField& field, const Each& each) {
  const Eigen::Index columns = field.columns(), rows = field.rows();
  for (Eigen::Index y = 0; y < rows; ++y) {
    for (Eigen::Index x = 0; x < columns; ++x) {
      const Eigen::Index at = y * columns + x;
      if (x + 2 < columns) each(at, at + 1, at + 2);
      if (y + 2 < rows) each(at, at + columns, at + 2 * columns);
    }
  }
}

}  // namespace interstice::camera
