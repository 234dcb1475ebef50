#include "bench/papers_page.h"

#include <fmt/core.h>

#include <algorithm>

#include "bench/naming_board.h"
#include "bench/page_assets.h"
#include "core/sha256.h"
#include "geometry/polygon.h"
#include "layout/paper_names.h"
#include "report/markup.h"

namespace interstice::bench {
namespace {

using Eigen::Vector2d;
using report::escaped;

constexpr double kBetween_mm = 6;

// All pages, one under the other, mm.
struct Drawing {
  std::string svg;
  double width_mm = 0, height_mm = 0;
};

std::string paper_to_tap(const layout::PaperPiece& piece, const std::string& label, double mm_per_px,
                         double top_mm) {
  std::string path;
  geometry::Polygon outline;
  double lowest = 0;
  for (const Vector2d& px : piece.outline_px) {
    const Vector2d p((px.x() + 0.5) * mm_per_px, (px.y() + 0.5) * mm_per_px + top_mm);
    path += fmt::format("{}{:.1f} {:.1f}", path.empty() ? "M" : "L", p.x(), p.y());
    outline.push_back(p), lowest = std::max(lowest, p.y());
  }
  // Under the middle: there the maker's own writing is.
  const Vector2d middle = geometry::centroid(outline);
  return naming_piece(label, 0, path + "Z", middle.x(), 0.4 * middle.y() + 0.6 * lowest);
}

Drawing drawing_of(const std::vector<layout::PaperPage>& pages, const std::vector<std::string>& pictures) {
  Drawing out;
  std::size_t number = 0;
  for (std::size_t k = 0; k < pages.size(); ++k) {
    const layout::PaperPage& page = pages[k];
    const double width = page.width_px * page.mm_per_px, height = page.height_px * page.mm_per_px;
    out.svg += fmt::format(
                   "<image x=\"0\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" "
                   "preserveAspectRatio=\"none\" href=\"",
                   out.height_mm, width, height) +
               pictures[k] + "\"/>";
    for (const layout::PaperPiece& piece : page.pieces)
      out.svg += paper_to_tap(piece, layout::proposed_name(number++), page.mm_per_px, out.height_mm);
    out.width_mm = std::max(out.width_mm, width), out.height_mm += height + kBetween_mm;
  }
  return out;
}

std::string told(const std::vector<layout::PaperPage>& pages) {
  std::string items;
  for (const layout::PaperPage& page : pages) {
    for (const std::string& line : page.look_again) items += "<li>" + escaped(line) + "</li>";
    for (const std::string& line : page.left_out) items += "<li>Left out: " + escaped(line) + "</li>";
  }
  return items.empty() ? "" : "<div class=\"mind\"><h2>Look again</h2><ul>" + items + "</ul></div>";
}

}  // namespace

std::string papers_page(const std::vector<layout::PaperPage>& pages,
                        const std::vector<std::string>& pictures) {
  const Drawing drawing = drawing_of(pages, pictures);
  const NamingBoard board{drawing.svg,
                          fmt::format("0 0 {:.1f} {:.1f}", drawing.width_mm, drawing.height_mm - kBetween_mm),
                          "The papers as they were scanned", "Make the labels file"};
  return "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
         "content=\"width=device-width, initial-scale=1\">\n<meta name=\"color-scheme\" content=\"light "
         "dark\">\n<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
         "style-src 'unsafe-inline'; script-src 'unsafe-inline'\">\n<title>Names of the papers</title>\n"
         "<style>\n" +
         std::string(bench_css()) +
         "</style>\n</head>\n<body>\n<main id=\"main\" data-kind=\"paper\" data-file=\"labels.csv\" "
         "data-place=\"papers " +
         core::sha256_of(drawing.svg).substr(0, 16) +  // names tapped are kept for these papers alone
         "\">\n<h1>Names of the papers</h1><p>Tap the papers in the order of their names: the lowest ring, "
         "A, "
         "counter-clockwise as seen from above the form; then Next ring.</p>" +
         told(pages) + naming_board(board) +
         "<div id=\"labels-box\" hidden><label for=\"labels-text\">What stands in it, to copy where no file "
         "was saved</label><textarea id=\"labels-text\" rows=\"6\" readonly></textarea><p>Run plan paper "
         "again with --labels labels.csv.</p></div>\n<noscript><p class=\"mind\">Names are tapped by a "
         "script; allow it, or write the file by hand from the drawing (--numbered "
         "papers.svg).</p></noscript>\n</main>\n<script>\n" +
         std::string(name_js()) + "</script>\n</body>\n</html>\n";
}

}  // namespace interstice::bench
