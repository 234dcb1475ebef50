// The measured surface as a point cloud: binary PLY with colour and normals, encoded by Open3D.
#pragma once

#include <filesystem>

#include "plan/plan.h"
#include "surface/surface.h"

namespace interstice::surface {

// One point a cell of the ortho picture where a height is known nearby; bowl frame, mm. The file
// must be new. Throws InputError when it cannot be written.
void write_cloud(const Surface& surface, const plan::Plan& plan, const std::filesystem::path& path);

}  // namespace interstice::surface
