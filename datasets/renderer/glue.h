// Glue that was squeezed out from under the pieces: drops at their roots, and in some seams strings that stand up
// between the walls, below the mouth. It is seen, but no part of the truth.
#pragma once

#include "renderer/mesh.h"

namespace interstice::renderer {

// A string of squeezed-out glue: mounds in a row, overlapping.
struct GlueString {
  std::size_t seam = 0;                 // of Scene::seams
  std::vector<Eigen::Vector3d> places;  // on the form, in the bowl frame
  double radius_mm = 0, height_mm = 0;  // of a mound, over the form
};

// In a share build.glue_in_seams of the seams that have a mouth of at most 8 mm and a length of at least 5 mm.
std::vector<GlueString> glue_strings(const Scene& scene);

Mesh glue_mesh(const Scene& scene);

}  // namespace interstice::renderer
