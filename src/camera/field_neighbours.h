// Coefficients of a field of shifts that are neighbours: what keeps it smooth is said of their second differences.
#pragma once

#include "camera/shift_field.h"

namespace interstice::camera {

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
