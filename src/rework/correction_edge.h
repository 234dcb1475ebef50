// Where a piece's edge towards one neighbour begins and ends, and how its ends are called at the bench.
#pragma once

#include <optional>
#include <string>

#include "rework/correction_shell.h"

namespace interstice::rework {

// Of a piece's outline the part that has a mouth towards another, by arc length, counter-clockwise; as measured.
// Empty where they have none.
struct EdgePart {
  double from_mm = 0, to_mm = 0;
};
std::optional<EdgePart> edge_facing(const CorrectionShell& shell, PieceIndex piece, PieceIndex facing);

// What lies at a place of a piece's outline beyond the neighbour it faces there (seams/seam_ends.h).
std::string name_of_end(const CorrectionShell& shell, PieceIndex piece, PieceIndex facing, double arc_mm);

}  // namespace interstice::rework
