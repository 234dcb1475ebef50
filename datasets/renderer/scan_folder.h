// A rendered scene as a scan folder: photos/photo_NN.jpg, plan.json, scan.json, truth.json.
#pragma once

#include <filesystem>
#include <functional>

#include "renderer/scene.h"

namespace interstice::renderer {

// scan.json: what the maker notes down: the check line as measured, the cards, the rings on, the camera.
std::string scan_json(const Scene& scene);

// Writes the folder (made if need be; files of the same names are replaced). `done(i, count)` is called after
// each photo. Throws InputError when a file cannot be written.
void write_scan_folder(const Scene& scene, const std::filesystem::path& folder,
                       const std::function<void(int, int)>& done = {});

}  // namespace interstice::renderer
