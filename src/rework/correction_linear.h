// Widths of a pair linearised in what is done to its two pieces.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "rework/correction_shell.h"

namespace interstice::rework {

// The mouth or the throat at one place of a pair, linearised in both pieces' moves (along, towards pole, turn in
// degrees), in the depth sanded off either edge, and in what easing takes off the foot of either wall.
struct WidthRow {
  double width_mm = 0;
  bool throat = false;
  long step = 0;  // along the seam: rows of one step share the sanding there
  std::array<Eigen::Vector3d, 2> by_move{Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero()};
  std::array<double, 2> by_sand{0, 0}, by_ease{0, 0};
  double length_mm = 0;  // of seam it stands for
};
struct LinearPair {
  std::array<Move, 2> at;      // the moves it was linearised at
  std::vector<WidthRow> rows;  // the narrowest place of every 3 mm; throats where they have a bound
  std::size_t narrowest = 0;   // mouth
  std::optional<std::size_t> narrowest_throat;
};
// How far down its wall a point lies, 0 at the arris to 1 at the foot.
double depth_share(const solid::SolidBody& body, std::size_t segment, const Eigen::Vector3d& on_wall);

LinearPair linearise(const CorrectionShell& shell, const ShellPair& pair, const std::array<Move, 2>& at);

}  // namespace interstice::rework
