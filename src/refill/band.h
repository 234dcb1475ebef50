// The seams' bands as the dry measurement has them: everything between the pieces, at the level resin stands to.
//
// The band is cut into cells on the map. A cell belongs to it where no piece's measured outline covers more than
// half of it and pieces stand round it (channels/void_grid.h says where the shell ends). Its place in space lies
// on the tape line, pulled straight from face to face. Bowl frame of the dry measurement, mm.
#pragma once

#include <Eigen/Core>
#include <array>
#include <memory>
#include <opencv2/core/mat.hpp>
#include <vector>

#include "channels/shell_solids.h"
#include "channels/void_grid.h"
#include "geometry/index.h"
#include "seams/fit_document.h"

namespace interstice::refill {

using CellIndex = geometry::Index<struct BandCellTag>;
using Pair = std::array<geometry::TileIndex, 2>;  // of neighbours, the lower first

struct BandCell {
  int column = 0, row = 0;  // of the grid
  Eigen::Vector2d map{0, 0};
  Eigen::Vector3d at{0, 0, 0}, normal{0, 0, 1};  // at the tape line; outward
  double area_mm2 = 0;                           // on the tape surface, of the part that is not wood
  double to_end_mm = 0;       // along the map, to where the shell ends (rim, open ring, a hole)
  double narrows_per_mm = 0;  // share of its area that is lost a millimetre farther down: the form is round
  double void_depth_mm = 0;   // the dry measurement's empty space below it, as a depth
  // The pieces nearest to it and how far outside their outlines it lies (negative: inside).
  geometry::TileIndex first, second;
  double first_mm = 0, second_mm = 0;
  double first_sd_mm = 0, second_sd_mm = 0;  // standard uncertainty of those outlines there
  Pair pair() const { return first < second ? Pair{first, second} : Pair{second, first}; }
};

// The band of a shell. Cells are in order of rows, then columns.
class Band {
 public:
  static constexpr double kStep_mm = 0.25;  // the map's scale is 1 to 1.6: a cell is at most so large

  // `dry` gives the outlines' uncertainties; its pieces are those of the shell, in order.
  Band(const channels::ShellSolids& shell, const seams::FitDocument& dry, int threads);

  const geometry::IndexedVector<CellIndex, BandCell>& cells() const { return cells_; }
  // The cell at a place of the grid, or nothing (-1): indices of cells() as numbers, CV_32S.
  const cv::Mat& grid() const { return grid_; }
  const channels::ShellSolids& shell() const { return shell_; }
  const std::vector<std::unique_ptr<channels::PieceField>>& fields() const { return fields_; }

 private:
  struct Beside {
    std::size_t piece;
    double outside_mm, height_mm;
  };
  std::vector<Beside> pieces_beside(const std::vector<std::size_t>& near, const Eigen::Vector3d& base,
                                    const Eigen::Vector3d& normal) const;
  bool open_near_top(std::size_t i, std::size_t j) const;
  void measure_ends();
  double outline_sd(std::size_t piece, const Eigen::Vector3d& at) const;
  void fill_row(int row, std::vector<BandCell>& out) const;
  double void_depth(std::size_t i, std::size_t j) const;

  const seams::FitDocument& dry_;
  channels::ShellSolids shell_;
  channels::VoidGrid grid_of_void_;
  std::vector<std::unique_ptr<channels::PieceField>> fields_;  // by piece; null: not placed
  geometry::IndexedVector<CellIndex, BandCell> cells_;
  cv::Mat grid_;
};

}  // namespace interstice::refill
