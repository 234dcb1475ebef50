// A rendered scene small and coarse enough that a run is short; every photo shows two cards and more.
#pragma once

#include "renderer/scan_folder.h"

namespace interstice::hard {

inline renderer::SceneOptions small_scene() {
  renderer::SceneOptions o = renderer::preset("patch");
  o.camera.width_px = 1280;
  o.camera.height_px = 960;
  o.camera.footprint_mm = 0.47;
  o.sampling = {1, 6, 32, 2.5, 2};
  return o;
}

}  // namespace interstice::hard
