// One piece on a pattern sheet.
#pragma once

#include "plan/patterns.h"

namespace interstice {

void draw_pattern_piece(Drawing& sheet, const Plan& plan, TileIndex tile, const PieceBody& body,
                        const PieceGeometry& piece, const Placement& place, const PatternOptions& options);

}  // namespace interstice
