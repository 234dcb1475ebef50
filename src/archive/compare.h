// Two scans of one piece: what moved, which seams changed, how far the surface came in.
//
// Uncertainties are expanded (95 %, coverage factor 2) and combine both scans' as independent. A seam or
// piece counts as changed when the change exceeds its uncertainty; among many, one in twenty would do so by
// chance, so `sure` marks those that would stand out even as the largest of all (Sidak's bound on the
// family). mm, degrees.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "archive/align.h"

namespace interstice::archive {

struct PieceDifference {
  std::string label;
  int ring = 1;
  PieceShift shift;
  double left_mm = 0;  // height of the later face above the form
  double u95_mm = 0;   // of a move in the surface
  bool moved = false;
};

struct SeamChange {
  std::array<std::string, 2> tiles;
  double before_mm = 0, after_mm = 0, u95_mm = 0;  // of the change
  bool changed = false, sure = false;
  double change_mm() const { return after_mm - before_mm; }
};

struct CameIn {
  int ring = 0;  // 0: all
  std::size_t pieces = 0;
  double mean_mm = 0, sd_mm = 0, least_mm = 0, most_mm = 0;  // positive: wood was taken off
  double thinnest_left_mm = 0;
  std::string most_at, thinnest_at;  // labels
};

struct Comparison {
  Alignment alignment;
  std::vector<PieceDifference> pieces;  // in a's order
  std::vector<SeamChange> seams;        // seen in both, in a's order
  std::size_t by_chance = 0;            // seams expected beyond their uncertainty though nothing changed
  std::vector<std::string> only_before, only_after;  // labels of placed pieces
  std::vector<CameIn> came_in;  // all, then ring by ring; empty when no face could be compared
};

Comparison compare(const seams::FitDocument& before, const seams::FitDocument& after);

}  // namespace interstice::archive
