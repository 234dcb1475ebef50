// Cells of the band as a shape: area, extents, rim. mm, bowl frame of the dry measurement.
#pragma once

#include "refill/band.h"

namespace interstice::refill {

double area_of(const Band& band, const std::vector<CellIndex>& cells);  // mm2

// Extents along the longest direction in the surface and across it.
struct PatchExtent {
  Eigen::Vector3d middle{0, 0, 0}, along{1, 0, 0};
  double length_mm = 0, across_mm = 0;
};

PatchExtent extent_of(const Band& band, const std::vector<CellIndex>& cells);

// The mean way from wood to wood at its cells.
double gap_at(const Band& band, const std::vector<CellIndex>& cells);

// Closed, round the largest part.
std::vector<Eigen::Vector3d> rim_of(const Band& band, const std::vector<CellIndex>& cells);

// The cells up to so many steps of the grid away.
template <class Work>
void for_near(const Band& band, const BandCell& cell, int reach, const Work& work) {
  for (int r = std::max(0, cell.row - reach); r <= std::min(band.grid().rows - 1, cell.row + reach); ++r) {
    for (int c = std::max(0, cell.column - reach); c <= std::min(band.grid().cols - 1, cell.column + reach);
         ++c) {
      const int i = band.grid().at<int>(r, c);
      if (i >= 0) work(CellIndex(static_cast<std::size_t>(i)));
    }
  }
}

}  // namespace interstice::refill
