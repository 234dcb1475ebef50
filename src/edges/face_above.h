// How far a piece's outer face stands above its arris plane.
//
// Arrises are broken, so the widest outline, which the photos show sharply, lies some tenths of a millimetre
// below the face. Seams are measured at the outline; resin stands up to the face, and the piece's underside
// lies the stock's thickness below the face. The dense heights tell the face, the traced outline tells the
// arris plane; both come from the same photos in the same frame, so that errors of the seat cancel. Bowl
// frame, mm.
#pragma once

#include <optional>
#include <vector>

#include "geometry/plane.h"
#include "plan/plan.h"
#include "surface/height_field.h"

namespace interstice::edges {

// Median height over the arris plane of the known cells well inside the outline (in the frame `arris_plane`).
// Empty when too few heights are known there. A break is no deeper than a tenth of the stock: beyond it (a
// chamfer as a design, heights gone astray) that tenth is returned, and never less than 0.
std::optional<double> face_above_arris(const surface::HeightField& field, const plan::Plan& plan,
                                       const geometry::PlaneFrame& arris_plane,
                                       const geometry::Polygon& outline);

// What was found, with the median of the other pieces where nothing was found: one hand breaks all arrises
// alike.
std::vector<double> with_median_for_unknown(const std::vector<std::optional<double>>& found);

}  // namespace interstice::edges
