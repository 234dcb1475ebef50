#include "sheets/pattern_piece.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "geometry/region.h"

namespace interstice::sheets {
namespace {

using Eigen::Vector2d;

constexpr double kOutline_mm = 0.2;
constexpr double kSmallestText_mm = 1.5;
constexpr double kEdgeNote_mm = 3.8;  // from the outline to the inner side of a note along an edge

// Text turned to lie along a direction on the sheet and still be read from below or from the right.
double readable_angle(const Vector2d& direction) {
  double deg = -std::atan2(direction.y(), direction.x()) * 180 / std::numbers::pi;
  while (deg > 90.0) deg -= 180;
  while (deg <= -90.0) deg += 180;
  return deg;
}

class PieceDrawer {
 public:
  PieceDrawer(Drawing& sheet, const solid::PieceBody& body, const layout::Placement& place)
      : sheet_(sheet), body_(body), place_(place) {}

  // From the face's frame (y towards the pole) to the sheet (y down).
  Vector2d on_sheet(const Vector2d& face) const { return place_.apply({face.x(), -face.y()}); }

  void outline(const std::string& label, double kerf_mm) {
    DrawnPath path;
    for (const Vector2d& p : body_.face.outline) path.points.push_back(on_sheet(p));
    path.closed = true;
    path.width_mm = kOutline_mm;
    path.layer = kerf_mm > 0 ? "marks" : "cut";
    path.id = label;
    sheet_.paths.push_back(path);
    if (kerf_mm <= 0) return;
    DrawnPath blade;
    for (const Vector2d& p : geometry::largest(geometry::offset_round({body_.face.outline}, kerf_mm / 2)))
      blade.points.push_back(on_sheet(p));
    blade.closed = blade.dashed = true;
    blade.width_mm = kOutline_mm;
    blade.layer = "cut";
    blade.id = label + "-blade";
    sheet_.paths.push_back(blade);
  }

  void edge_note(const solid::PieceEdge& edge, const std::string& name) {
    const std::size_t n = body_.face.outline.size();
    const Vector2d a = body_.face.outline[edge.first],
                   b = body_.face.outline[(edge.first + edge.count - 1) % n];
    const Vector2d middle = body_.face.outline[(edge.first + edge.count / 2) % n];
    // A tick across the outline where one edge ends and the next begins.
    const Vector2d in = Vector2d(-(b - a).y(), (b - a).x()).normalized();
    const double chord = (b - a).norm();
    const std::string bevel = fmt::format(" {:.1f}°", edge.bevel_deg);
    double height = 1.9;
    std::string text = name + bevel;
    if (text_width_mm(text, height) > chord - 3.5) height = kSmallestText_mm;
    if (text_width_mm(text, height) > chord - 2.0) text = name;
    const Vector2d at = middle + in * (1.1 + height / 2);
    sheet_.write(on_sheet(at), text, height, Anchor::middle, readable_angle(on_sheet(b) - on_sheet(a)));
  }

  // Where one edge ends and the next begins: a short tick inside the outline.
  void corner_tick(const solid::PieceEdge& edge) {
    const Vector2d corner = body_.face.outline[edge.first];
    const Vector2d in = (geometry::centroid(body_.face.outline) - corner).normalized();
    sheet_.line(on_sheet(corner), on_sheet(corner + 1.6 * in), 0.15);
  }

  void arrow(const Vector2d& middle, const Vector2d& direction, double length) {
    const Vector2d tip = middle + direction * length / 2, tail = middle - direction * length / 2;
    const Vector2d side(-direction.y(), direction.x());
    sheet_.line(on_sheet(tail), on_sheet(tip), 0.25);
    for (const double s : {-1.0, 1.0}) {
      sheet_.line(on_sheet(tip), on_sheet(tip - 1.8 * direction + s * 0.8 * side), 0.25);
      sheet_.line(on_sheet(tail), on_sheet(tail + 1.8 * direction + s * 0.8 * side), 0.25);
    }
  }

 private:
  Drawing& sheet_;
  const solid::PieceBody& body_;
  const layout::Placement& place_;
};

// Middle of the roomiest place of a face, found by shrinking the outline.
Vector2d roomy_middle(const geometry::Polygon& outline, double inscribed_mm) {
  const geometry::Polygon core = geometry::largest(geometry::offset_round({outline}, -0.42 * inscribed_mm));
  return core.size() >= 3 ? geometry::centroid(core) : geometry::centroid(outline);
}

// The longest arrow about a place whose ends stay inside a region; 4 mm at least.
double fitting(const geometry::Polygon& region, const Vector2d& middle, const Vector2d& direction,
               double longest) {
  double length = longest;
  while (length > 4 && !(geometry::contains(region, middle + length / 2 * direction) &&
                         geometry::contains(region, middle - length / 2 * direction))) {
    length -= 0.5;
  }
  return std::max(4.0, length);
}

}  // namespace

void draw_pattern_piece(Drawing& sheet, const plan::Plan& plan, geometry::TileIndex tile,
                        const solid::PieceBody& body, const solid::PieceGeometry& piece,
                        const layout::Placement& place, const PatternOptions& options) {
  PieceDrawer drawer(sheet, body, place);
  const std::string& label = plan.tiles[tile].label;
  drawer.outline(label, options.kerf_mm);
  for (const solid::PieceEdge& edge : piece.edges) {
    const std::string name = edge.faces == solid::EdgeFaces::piece ? plan.tiles[edge.neighbour].label
                             : edge.faces == solid::EdgeFaces::rim ? "rim"
                                                                   : "open";
    drawer.edge_note(edge, name);
    if (piece.edges.size() > 1) drawer.corner_tick(edge);
  }
  const Vector2d middle = roomy_middle(body.face.outline, piece.inscribed_mm), at = drawer.on_sheet(middle);
  // The block of notes stands upright on the sheet; the grain arrow turns with the piece.
  const double room = std::max(6.0, piece.inscribed_mm - 9), big = std::clamp(0.2 * room, 2.4, 5.0);
  const double small = std::clamp(0.085 * room, kSmallestText_mm, 2.0);
  sheet.write(at + Vector2d(0, -0.35 * big), label, big, Anchor::middle, 0, true);
  sheet.write(at + Vector2d(0, 0.35 * big + 0.9 * small),
              fmt::format("bevel {:.0f}°", piece.recommended_bevel_deg), small, Anchor::middle);
  sheet.write(at + Vector2d(0, 0.35 * big + 2.5 * small), "outer face", small, Anchor::middle, 0, false,
              kGrey);
  const Vector2d grain = options.grain == Grain::along_ring ? Vector2d(1, 0) : Vector2d(0, 1);
  // Beside the notes, clear of them whichever way it points on the sheet.
  const Vector2d on_sheet_grain = (drawer.on_sheet(middle + grain) - at).normalized();
  const double width = std::max(text_width_mm(label, big, true), text_width_mm("outer face", small));
  const double longest = std::clamp(0.5 * room, 5.0, 14.0);
  const bool upright = std::abs(on_sheet_grain.y()) > 0.5;
  const Vector2d aside = upright
                             ? Vector2d(-width / 2 - 1.6 - longest / 2 * std::abs(on_sheet_grain.x()), 0)
                             : Vector2d(0, -0.85 * big - 1.8 - longest / 2 * std::abs(on_sheet_grain.y()));
  const double turn = place.turn_deg * std::numbers::pi / 180;
  const auto on_face = [&](const Vector2d& d) {
    return Vector2d(std::cos(turn) * d.x() + std::sin(turn) * d.y(),
                    std::sin(turn) * d.x() - std::cos(turn) * d.y());
  };
  // On the side where it can be longer and still clear of the notes along the edges.
  const geometry::Polygon clear =
      geometry::largest(geometry::offset_round({body.face.outline}, -kEdgeNote_mm));
  Vector2d best = middle + on_face(aside);
  double length = fitting(clear, best, grain, longest);
  if (const Vector2d other = middle + on_face(-aside);
      upright && fitting(clear, other, grain, longest) > length)
    best = other, length = fitting(clear, other, grain, longest);
  drawer.arrow(best, grain, length);
}

}  // namespace interstice::sheets
