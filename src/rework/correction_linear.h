// Widths of a pair linearised in what is done to its two pieces.
#pragma once

#include <array>
#include <vector>

#include "rework/correction_shell.h"

namespace interstice::rework {

// The width at one place of a pair, linearised in both pieces' moves (along, towards pole, turn in degrees)
// and in the depth sanded off either edge.
struct WidthRow {
  double width_mm = 0;
  std::array<Eigen::Vector3d, 2> by_move{Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero()};
  std::array<double, 2> by_sand{0, 0};
  double length_mm = 0;  // of seam it stands for
};
struct LinearPair {
  std::array<Move, 2> at;      // the moves it was linearised at
  std::vector<WidthRow> rows;  // the narrowest place of every 3 mm
  std::size_t narrowest = 0;
};
LinearPair linearise(const CorrectionShell& shell, const ShellPair& pair, const std::array<Move, 2>& at);

}  // namespace interstice::rework
