#include "bench/plan_sketch.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "plan/plan.h"
#include "report/markup.h"

namespace interstice::bench {

PlanSketch sketch_plan(const std::string& plan_json, const std::string& file) {
  const plan::Plan plan = plan::parse_plan(plan_json, file);
  PlanSketch sketch;
  sketch.pieces = plan.tiles.size();
  int rings = 0;
  double reach = 1;
  std::string paths;
  for (const plan::PlannedTile& tile : plan.tiles) {
    rings = std::max(rings, tile.ring);
    std::string path;
    double u = 0, v = 0;
    for (const auto& p : tile.outline) {
      char text[64];
      std::snprintf(text, sizeof text, "%s%.1f %.1f", path.empty() ? "M" : "L", p.x(), -p.y());
      path += text;
      reach = std::max({reach, std::abs(p.x()), std::abs(p.y())});
      u += p.x() / static_cast<double>(tile.outline.size());
      v += p.y() / static_cast<double>(tile.outline.size());
    }
    char at[80];
    std::snprintf(at, sizeof at, "<text x=\"%.1f\" y=\"%.1f\">", u, -v + 2.5);
    paths += "<path d=\"" + path + "Z\"/>" + at + report::in_drawing(tile.label) + "</text>";
  }
  char box[100];
  std::snprintf(box, sizeof box, "%.0f %.0f %.0f %.0f", -reach - 3, -reach - 3, 2 * reach + 6, 2 * reach + 6);
  sketch.svg = "<svg class=\"sketch\" viewBox=\"" + std::string(box) +
               "\" role=\"img\" aria-label=\"The planned pieces, unrolled\">" + paths + "</svg>";
  char about[200];
  std::snprintf(about, sizeof about, "%zu pieces in %d %s, stock ", plan.tiles.size(), rings,
                rings == 1 ? "ring" : "rings");
  sketch.about = about + report::length_html(plan.tile_thickness_mm, 1) + ", smallest fill " +
                 report::length_html(plan.smallest_fill_mm, 2);
  return sketch;
}

}  // namespace interstice::bench
