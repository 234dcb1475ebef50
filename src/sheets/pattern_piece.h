// One piece on a pattern sheet.
#pragma once

#include "sheets/patterns.h"

namespace interstice::sheets {

void draw_pattern_piece(Drawing& sheet, const plan::Plan& plan, geometry::TileIndex tile,
                        const solid::PieceBody& body, const solid::PieceGeometry& piece,
                        const layout::Placement& place, const PatternOptions& options);

}  // namespace interstice::sheets
