// Pictures of a plan: the map, and elevations from four sides, to look at; not to scale unless said.
#pragma once

#include "sheets/drawing.h"
#include "solid/piece_body.h"

namespace interstice::sheets {

// Footprints and labels on the map, with circles every 50 mm of arc, pole in the middle.
Drawing draw_map(const plan::Plan& plan);

// The shell as seen level from theta = azimuth (0 looks at the u side), parallel projection, 1:1 in
// millimetres: the form's outline, every face that looks this way, labels. `bodies` from planned_bodies.
Drawing draw_elevation(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                       double azimuth_deg);

// Four elevations, a quarter turn apart, on one sheet.
Drawing draw_elevations(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies);

}  // namespace interstice::sheets
