#include "bench/naming_page.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "bench/naming_board.h"
#include "bench/page_frame.h"
#include "geometry/polygon.h"
#include "report/markup.h"

namespace interstice::bench {
namespace {

using Eigen::Vector2d;
using report::escaped;

struct Box {
  double x = 0, y = 0, width = 0, height = 0;  // mm, y down
  std::string text() const { return fmt::format("{:.1f} {:.1f} {:.1f} {:.1f}", x, y, width, height); }
};

Box box_of(const geometry::Polygon& outline, double margin_mm) {
  Vector2d low = outline.front(), high = low;
  for (const Vector2d& p : outline) low = low.cwiseMin(p), high = high.cwiseMax(p);
  return {low.x() - margin_mm, -high.y() - margin_mm, high.x() - low.x() + 2 * margin_mm,
          high.y() - low.y() + 2 * margin_mm};
}

std::string path_of(const geometry::Polygon& outline) {
  std::string path;
  for (const Vector2d& p : outline) {
    path += fmt::format("{}{:.1f} {:.1f}", path.empty() ? "M" : "L", p.x(), -p.y());
  }
  return path + "Z";
}

std::string image_of(const Bowl& bowl, const UnrolledPicture& picture) {
  return "<image href=\"/b/" + bowl.key + "/unrolled.png\" preserveAspectRatio=\"none\" " +
         fmt::format("x=\"{:.3f}\" y=\"{:.3f}\" width=\"{:.3f}\" height=\"{:.3f}\"",
                     -(picture.cx + 0.5) * picture.mm_per_px, -(picture.cy + 0.5) * picture.mm_per_px,
                     picture.width_px * picture.mm_per_px, picture.height_px * picture.mm_per_px) +
         "/>";
}

// One piece that can be tapped; its name stands beside its middle, where the drawn one stands.
std::string piece_group(const plan::PlannedTile& tile) {
  const Vector2d middle = geometry::centroid(tile.outline);
  return naming_piece(tile.label, tile.ring, path_of(tile.outline), middle.x(), -middle.y() + 7);
}

std::string look_again_list(const Bowl& bowl, const plan::Plan& plan, const UnrolledPicture& picture) {
  constexpr double kAround_mm = 12;
  std::string items;
  for (const UnrolledPicture::LookAgain& again : picture.look_again) {
    for (const plan::PlannedTile& tile : plan.tiles) {
      if (tile.label != again.label) continue;
      items += "<li class=\"plate\"><svg class=\"closer\" viewBox=\"" +
               box_of(tile.outline, kAround_mm).text() + "\" role=\"img\" aria-label=\"" +
               escaped(tile.label) + " as drawn and as traced\">" + image_of(bowl, picture) + "<path d=\"" +
               path_of(tile.outline) + "\"/></svg><p><strong>" + report::named(tile.label) +
               "</strong>: " + escaped(again.why) + "</p></li>";
    }
  }
  if (items.empty()) return "";
  return "<h2>Look again</h2><p>The line that was traced, over what is drawn.</p><ul class=\"plates\">" +
         items + "</ul>";
}

}  // namespace

std::string naming_page(const Bowl& bowl, const plan::Plan& plan,
                        const std::optional<UnrolledPicture>& picture) {
  double reach = 1;
  std::vector<const plan::PlannedTile*> in_order;  // for the keyboard: ring by ring, round the form
  for (const plan::PlannedTile& tile : plan.tiles) {
    for (const Vector2d& p : tile.outline) reach = std::max({reach, std::abs(p.x()), std::abs(p.y())});
    in_order.push_back(&tile);
  }
  std::stable_sort(in_order.begin(), in_order.end(),
                   [](const auto* a, const auto* b) { return a->ring < b->ring; });
  std::string pieces;
  for (const plan::PlannedTile* tile : in_order) pieces += piece_group(*tile);
  const Box whole{-reach - 3, -reach - 3, 2 * reach + 6, 2 * reach + 6};
  const std::string place = "/b/" + bowl.key;
  const std::string body =
      "<p class=\"trail\"><a href=\"" + place + "\">" + report::named(bowl.name) +
      "</a></p><h1>Names of the pieces</h1><p>Tap the pieces in the order of their names.</p>" +
      naming_board({(picture ? image_of(bowl, *picture) : "") + pieces, whole.text(), "The pieces, unrolled",
                    "Keep these names"}) +
      (picture ? look_again_list(bowl, plan, *picture) : "");
  return framed({"Names of the pieces", body, {"name.js"}, true, "data-place=\"" + place + "\""});
}

}  // namespace interstice::bench
