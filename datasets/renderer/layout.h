// What the maker planned: irregular pieces in rings, with an even gap between their faces.
//
// Sites are set in jittered rows on the form, raised by the stock's thickness; each piece's face is the part
// of its plane nearer to its own site than to any other (half a gap inside), with rounded corners. The
// footprint is the face drawn in by thickness x tan(bevel) and dropped onto the form along the face's normal,
// so that the face grows back from it as plan.json has it.
#pragma once

#include <string>
#include <vector>

#include "renderer/form.h"
#include "renderer/outline.h"

namespace interstice::renderer {

struct PlannedPiece {
  std::string label;
  int ring = 1;
  Outline footprint;       // on the map
  Eigen::Vector2d centre;  // area centroid of the footprint, on the map
  Outline face;            // in form.frame(centre, thickness)
};

struct Layout {
  double bevel_deg = 10;
  std::vector<PlannedPiece> pieces;
};

Layout make_layout(const Form& form, const LayoutOptions& options, std::uint64_t seed);

// plan.json of a layout.
std::string plan_json(const std::string& name, const Form& form, const LayoutOptions& options,
                      const Layout& layout);

}  // namespace interstice::renderer
