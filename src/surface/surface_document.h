// A measured surface as files in a scan folder.
//
// surface.json: { "format": "interstice-surface", "version": 1, "turn_deg", "explained", "grid_step_mm",
// "grid_centre", "form_profile": [[r, z], ...] }; heights.tif and agreement.tif: 32-bit floating-point
// pictures of the grid (surface/map_grid.h), NaN where unknown; ortho.png: the true-ortho picture,
// ortho_step_mm a pixel.
#pragma once

#include <filesystem>

#include "surface/surface.h"

namespace interstice::surface {

void write_surface(const Surface& surface, const std::filesystem::path& folder);

// Throws InputError naming file, place and fault.
Surface read_surface(const std::filesystem::path& folder);

}  // namespace interstice::surface
