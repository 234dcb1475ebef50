// A measured surface as files in a scan folder.
//
// surface.json: { "format": "interstice-surface", "version": 1, "turn_deg", "explained", "grid_step_mm",
// "grid_centre", "form_profile": [[r, z], ...] }; heights.tif and agreement.tif: 32-bit floating-point
// pictures of the grid (surface/map_grid.h), NaN where unknown; ortho.png: the true-ortho picture,
// ortho_step_mm a pixel.
#pragma once

#include <filesystem>
#include <optional>

#include "surface/surface.h"

namespace interstice::surface {

void write_surface(const Surface& surface, const std::filesystem::path& folder);

// Throws InputError naming file, place and fault.
Surface read_surface(const std::filesystem::path& folder);

// The folder's true-ortho picture on the grid that its surface.json gives (Surface::ortho_grid). Throws InputError naming
// file and fault.
cv::Mat read_ortho(const std::filesystem::path& folder, const MapGrid& grid);

// The same with its grid: black where nothing was seen.
struct MapPicture {
  MapGrid grid;
  cv::Mat colour;  // CV_8UC3
};
// Nothing where the folder holds none, or none that fits its surface.json.
std::optional<MapPicture> find_ortho(const std::filesystem::path& folder);

}  // namespace interstice::surface
