#include "bench/plan_sketch.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

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
      path += fmt::format("{}{:.1f} {:.1f}", path.empty() ? "M" : "L", p.x(), -p.y());
      reach = std::max({reach, std::abs(p.x()), std::abs(p.y())});
      u += p.x() / static_cast<double>(tile.outline.size());
      v += p.y() / static_cast<double>(tile.outline.size());
    }
    paths += "<path d=\"" + path + "Z\"/>" + fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\">", u, -v + 2.5) +
             report::in_drawing(tile.label) + "</text>";
  }
  sketch.svg =
      "<svg class=\"sketch\" viewBox=\"" +
      fmt::format("{:.0f} {:.0f} {:.0f} {:.0f}", -reach - 3, -reach - 3, 2 * reach + 6, 2 * reach + 6) +
      "\" role=\"img\" aria-label=\"The planned pieces, unrolled\">" + paths + "</svg>";
  sketch.about =
      fmt::format("{} pieces in {} {}, stock ", plan.tiles.size(), rings, rings == 1 ? "ring" : "rings") +
      report::length_html(plan.tile_thickness_mm, 1) + ", smallest fill " +
      report::length_html(plan.smallest_fill_mm, 2);
  return sketch;
}

}  // namespace interstice::bench
