#include "sheets/patterns.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

#include "core/errors.h"
#include "core/name_check.h"
#include "geometry/region.h"
#include "sheets/pattern_piece.h"

namespace interstice::sheets {
namespace {

using Eigen::Vector2d;

constexpr double kMargin_mm = 10;  // printers leave 4 to 6 mm blank
constexpr double kHead_mm = 16;
constexpr double kFoot_mm = 14;

void add_frame_texts(Drawing& sheet, const plan::Plan& plan, const PatternOptions& o, std::size_t k,
                     std::size_t n) {
  const double x = kMargin_mm;
  sheet.write({x, kMargin_mm + 4},
              plan.name + ": cutting patterns, sheet " + std::to_string(k + 1) + " of " + std::to_string(n),
              3.2, Anchor::left, 0, true);
  std::string line = fmt::format(
      "1:1, print at 100 % (no fitting to the page). Stock {:g} mm. Seen on the outer face; walls slope in "
      "to "
      "the back.",
      plan.tile_thickness_mm);
  sheet.write({x, kMargin_mm + 8.5}, line, 2.0);
  line = "Cut on the outline.";
  if (o.kerf_mm > 0)
    line = fmt::format("Outline: finished edge; dashed: middle of a cut {:g} mm wide.", o.kerf_mm);
  line += " Edges: neighbour, bevel. Middle: label, one bevel (not the rim's). Arrow: grain.";
  sheet.write({x, kMargin_mm + 12}, line, 2.0);
  const double length = sheet.width_mm - 2 * kMargin_mm >= 155 ? 150 : 50;
  sheet.check_line({kMargin_mm + 2, sheet.height_mm - kMargin_mm - 5}, length);
}

std::string edge_name(const plan::Plan& plan, const solid::PieceEdge& edge) {
  if (edge.faces == solid::EdgeFaces::rim) return "rim";
  if (edge.faces == solid::EdgeFaces::open) return "open";
  return plan.tiles[edge.neighbour].label;
}

struct Column {
  double x;
  const char* head;
};

std::string edges_text(const plan::Plan& plan, const solid::PieceGeometry& piece) {
  std::string text;
  for (const solid::PieceEdge& edge : piece.edges) {
    if (!text.empty()) text += ", ";
    text += edge_name(plan, edge) + fmt::format(" {:.1f}", edge.bevel_deg);
  }
  return text;
}

// Cuts a text at spaces into lines no wider than `width`.
std::vector<std::string> wrapped(const std::string& text, double height, double width) {
  std::vector<std::string> lines{""};
  std::size_t at = 0;
  while (at < text.size()) {
    std::size_t end = text.find(' ', at);
    if (end == std::string::npos) end = text.size();
    const std::string word = text.substr(at, end - at);
    const std::string longer = lines.back().empty() ? word : lines.back() + " " + word;
    if (!lines.back().empty() && text_width_mm(longer, height) > width) {
      lines.push_back(word);
    } else {
      lines.back() = longer;
    }
    at = text.find_first_not_of(' ', end);
    if (at == std::string::npos) break;
  }
  return lines;
}

class ListWriter {
 public:
  ListWriter(const plan::Plan& plan, const SheetSize& size) : plan_(plan), size_(size) {}

  std::vector<Drawing> run(const std::vector<solid::PieceBody>& bodies,
                           const std::vector<solid::PieceGeometry>& pieces) {
    new_page();
    for (const std::string& line : cutting_cautions()) paragraph(line);
    paragraph(fmt::format(
        "Bevels are measured from square to the face and leave the back smaller. Of each edge: half the "
        "angle to its neighbour, so that both walls of a seam run parallel. The one bevel of a piece is "
        "the largest of its edges to neighbours, rounded up; the plan counts with {:g} degrees.",
        plan_.bevel_deg));
    paragraph(
        "Enlargement: lengths of the face against the shape drawn on the form. Rocking: the gap left under a "
        "flat back; negative means the form rises under the piece and it must be hollowed to sit.");
    y_ += 2;
    heads();
    for (std::size_t i = 0; i < pieces.size(); ++i) row(i, bodies[i], pieces[i]);
    for (std::size_t k = 0; k < pages_.size(); ++k) {
      pages_[k].write({kMargin_mm, kMargin_mm + 4},
                      plan_.name + ": cutting list, page " + std::to_string(k + 1) + " of " +
                          std::to_string(pages_.size()),
                      3.2, Anchor::left, 0, true);
    }
    return std::move(pages_);
  }

 private:
  static constexpr double kText_mm = 2.0, kRow_mm = 4.2;
  static constexpr Column kColumns[6] = {{0, "piece"},        {16, "face, mm"},
                                         {42, "bevel"},       {56, "enlarged %"},
                                         {76, "rocking, mm"}, {99, "edges: neighbour and bevel, degrees"}};

  void new_page() {
    Drawing page;
    page.width_mm = size_.width_mm, page.height_mm = size_.height_mm;
    pages_.push_back(page);
    y_ = kMargin_mm + 11;
  }

  void paragraph(const std::string& text) {
    for (const std::string& line : wrapped(text, kText_mm, size_.width_mm - 2 * kMargin_mm)) {
      pages_.back().write({kMargin_mm, y_}, line, kText_mm);
      y_ += 3.6;
    }
    y_ += 1;
  }

  void heads() {
    for (const Column& c : kColumns)
      pages_.back().write({kMargin_mm + c.x, y_}, c.head, kText_mm, Anchor::left, 0, true);
    pages_.back().line({kMargin_mm, y_ + 1.2}, {size_.width_mm - kMargin_mm, y_ + 1.2}, 0.2);
    y_ += kRow_mm + 0.6;
  }

  void row(std::size_t i, const solid::PieceBody& body, const solid::PieceGeometry& piece) {
    const std::vector<std::string> edges =
        wrapped(edges_text(plan_, piece), kText_mm, size_.width_mm - 2 * kMargin_mm - kColumns[5].x);
    if (y_ + kRow_mm * static_cast<double>(edges.size()) > size_.height_mm - kMargin_mm) {
      new_page();
      heads();
    }
    Vector2d low = body.face.outline[0], high = low;
    for (const Vector2d& p : body.face.outline) low = low.cwiseMin(p), high = high.cwiseMax(p);
    const std::string cells[5] = {plan_.tiles[geometry::TileIndex(i)].label,
                                  fmt::format("{:.0f} x {:.0f}", high.x() - low.x(), high.y() - low.y()),
                                  fmt::format("{:.0f}°", piece.recommended_bevel_deg),
                                  fmt::format("{:.1f}", piece.enlargement_percent),
                                  fmt::format("{:.1f}", piece.rocking_gap_mm)};
    for (std::size_t c = 0; c < 5; ++c) {
      pages_.back().write({kMargin_mm + kColumns[c].x, y_}, cells[c], kText_mm, Anchor::left, 0, c == 0);
    }
    for (const std::string& line : edges) {
      pages_.back().write({kMargin_mm + kColumns[5].x, y_}, line, kText_mm);
      y_ += kRow_mm;
    }
  }

  const plan::Plan& plan_;
  SheetSize size_;
  std::vector<Drawing> pages_;
  double y_ = 0;
};

}  // namespace

SheetSize parse_sheet(const std::string& text) {
  const std::string lower = core::lower_ascii(text);
  if (lower == "a4") return {210, 297, "A4"};
  if (lower == "letter") return {215.9, 279.4, "Letter"};
  double w = 0, h = 0;
  char more = 0;
  if (std::sscanf(lower.c_str(), "%lfx%lf%c", &w, &h, &more) == 2 && w >= 80 && h >= 80 && w <= 5000 &&
      h <= 5000) {
    return {w, h, text};
  }
  throw core::InputError("the sheet \"" + core::one_line(text, 40) +
                         "\" is not understood: a4, letter, or WIDTHxHEIGHT in mm (80 to 5000)");
}

std::vector<std::string> cutting_cautions() {
  return {
      "Before you cut: measure the check line on the print with a rule; if it is off, the print was scaled.",
      "Small pieces and tilted tables are where saws take fingers: hold pieces in a jig or by a longer "
      "offcut, keep the "
      "guard on, never free-hand on a table saw, and follow the machine's manual.",
      "Wood dust harms the lungs and some woods are toxic or sensitizing: use extraction and a fitted dust "
      "mask, and "
      "look up the wood before you cut it. Wear eye and ear protection."};
}

Patterns make_patterns(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                       const std::vector<solid::PieceGeometry>& pieces, const PatternOptions& o) {
  std::vector<geometry::Polygon> outlines;
  const double turn =
      o.grain == Grain::along_ring || !o.board ? 0 : -90;  // the grain along the board's width
  for (const solid::PieceBody& body : bodies) {
    geometry::Polygon outline = geometry::largest(geometry::offset_round({body.face.outline}, o.kerf_mm));
    for (Vector2d& p : outline) p = layout::Placement{0, turn, {0, 0}}.apply({p.x(), -p.y()});
    outlines.push_back(std::move(outline));
  }
  layout::NestingOptions nesting;
  const double head = o.board ? 0 : kHead_mm, foot = o.board ? 0 : kFoot_mm,
               margin = o.board ? 4 : kMargin_mm;
  nesting.width_mm = o.sheet.width_mm - 2 * margin;
  nesting.height_mm = o.sheet.height_mm - 2 * margin - head - foot;
  nesting.spacing_mm = o.spacing_mm;
  nesting.keep_grain = o.board;
  for (std::size_t i = 0; i < outlines.size(); ++i) {  // to name the piece, each alone first
    try {
      layout::nest({outlines[i]}, nesting);
    } catch (const core::InputError&) {
      throw core::InputError("piece " + plan.tiles[geometry::TileIndex(i)].label +
                             " does not fit a sheet of " + o.sheet.name + ": choose a larger sheet");
    }
  }
  Patterns out;
  out.nesting = layout::nest(outlines, nesting);
  out.sheets.resize(out.nesting.sheets);
  for (std::size_t k = 0; k < out.sheets.size(); ++k) {
    out.sheets[k].width_mm = o.sheet.width_mm, out.sheets[k].height_mm = o.sheet.height_mm;
    if (!o.board) add_frame_texts(out.sheets[k], plan, o, k, out.sheets.size());
  }
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    const layout::Placement& p = out.nesting.placements[i];
    layout::Placement on_sheet = p;
    on_sheet.turn_deg += turn;
    on_sheet.shift += Vector2d(margin, margin + head);
    draw_pattern_piece(out.sheets[p.sheet], plan, geometry::TileIndex(i), bodies[i], pieces[i], on_sheet, o);
  }
  SheetSize list = o.sheet;
  if (o.board) list = SheetSize();
  out.cutting_list = ListWriter(plan, list).run(bodies, pieces);
  return out;
}

}  // namespace interstice::sheets
