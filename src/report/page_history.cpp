// Ring by ring: what earlier scans of the piece showed and what has changed since.
#include <algorithm>
#include <cmath>

#include "report/bench_list.h"
#include "report/markup.h"
#include "report/page_parts.h"

namespace interstice::report {
namespace {

struct Named {
  std::string name;
  const seams::FitDocument* fit;
};

std::size_t placed(const seams::FitDocument& fit) {
  return static_cast<std::size_t>(
      std::count_if(fit.tiles.begin(), fit.tiles.end(),
                    [](const seams::FitTile& t) { return t.state == plan::TileState::placed; }));
}

int rings_on(const seams::FitDocument& fit) {
  int rings = 0;
  for (const seams::FitTile& t : fit.tiles) {
    if (t.state == plan::TileState::placed) rings = std::max(rings, t.ring);
  }
  return rings;
}

std::size_t count(const seams::FitDocument& fit, seams::Verdict v) {
  return static_cast<std::size_t>(std::count_if(fit.seams.begin(), fit.seams.end(),
                                                [&](const seams::FitSeam& s) { return s.verdict == v; }));
}

std::string summary(const std::vector<Named>& scans) {
  std::string out =
      "<div class=\"wide-table\" tabindex=\"0\" role=\"region\" aria-label=\"Table of "
      "scans\"><table><caption>Scans, oldest first</caption><thead><tr><th scope=\"col\">Scan</th><th "
      "scope=\"col\">Rings</th><th scope=\"col\">Pieces on</th>"
      "<th scope=\"col\">Too tight</th><th scope=\"col\">Pinched</th><th scope=\"col\">Doubtful</th><th "
      "scope=\"col\">Unseen</th><th "
      "scope=\"col\">Clear</th></tr></thead><tbody>";
  for (const Named& n : scans) {
    out += "<tr><th scope=\"row\">" + named(n.name) + "</th><td>" + std::to_string(rings_on(*n.fit)) +
           "</td><td>" + std::to_string(placed(*n.fit)) + "</td>";
    for (const seams::Verdict v : {seams::Verdict::too_tight, seams::Verdict::pinched,
                                   seams::Verdict::doubtful, seams::Verdict::unseen, seams::Verdict::clear})
      out += "<td>" + std::to_string(count(*n.fit, v)) + "</td>";
    out += "</tr>";
  }
  return out + "</tbody></table></div>";
}

std::string added_pieces(const seams::FitDocument& before, const seams::FitDocument& now) {
  std::string on, off;
  for (const seams::FitTile& t : now.tiles) {
    const seams::FitTile* old = tile_of(before, t.label);
    const bool was = old && old->state == plan::TileState::placed, is = t.state == plan::TileState::placed;
    if (is && !was) on += (on.empty() ? "" : ", ") + named(t.label);
    if (was && !is) off += (off.empty() ? "" : ", ") + named(t.label);
  }
  return (on.empty() ? "" : "<p>Now on: " + on + ".</p>") +
         (off.empty() ? "" : "<p>No longer seen on: " + off + ".</p>");
}

// Seams whose width changed by more than the two uncertainties together explain, or whose verdict changed.
// `current`: the scan the page is of, whose seams can be gone to.
std::string changed_seams(const seams::FitDocument& before, const seams::FitDocument& now,
                          const seams::FitDocument& current) {
  std::string rows;
  for (const seams::FitSeam& s : now.seams) {
    const std::size_t k = seam_of(before, s.tiles);
    if (k == before.seams.size()) continue;
    const seams::FitSeam& old = before.seams[k];
    const bool both = s.narrowest_mm && old.narrowest_mm;
    const double change = both ? *s.narrowest_mm - *old.narrowest_mm : 0;
    const double u95 = std::hypot(s.u95_mm.value_or(0), old.u95_mm.value_or(0));
    const bool moved = both && std::abs(change) > u95;
    if (!moved && s.verdict == old.verdict) continue;
    const auto width = [](const seams::FitSeam& x) {
      return x.narrowest_mm ? with_uncertainty_html(*x.narrowest_mm, x.u95_mm.value_or(0))
                            : std::string("unseen");
    };
    const std::size_t here = seam_of(current, s.tiles);
    const std::string name = here < current.seams.size() ? seam_link(current, here) : seam_named(s.tiles);
    rows += "<tr><th scope=\"row\">" + name + "</th><td>" + width(old) + "</td><td>" + width(s) +
            "</td><td>" +
            (moved ? (change > 0 ? "wider by " : "narrower by ") + length_html(std::abs(change), 2)
                   : std::string("within the uncertainty")) +
            "</td><td>" + verdict_chip(s.verdict) + "</td></tr>";
  }
  if (rows.empty())
    return "<p>No seam seen in both has changed by more than the measurements' uncertainty.</p>";
  return "<div class=\"wide-table\" tabindex=\"0\" role=\"region\" aria-label=\"Table of changed "
         "seams\"><table><caption>Seams that changed</caption><thead><tr><th scope=\"col\">Seam</th><th "
         "scope=\"col\">Before</th><th scope=\"col\">Now</th><th scope=\"col\">Change</th>"
         "<th scope=\"col\">Verdict now</th></tr></thead><tbody>" +
         rows + "</tbody></table></div>";
}

}  // namespace

std::string history_part(const PageInput& input) {
  if (input.earlier.empty()) return "";
  std::vector<Named> scans;
  for (const EarlierScan& e : input.earlier) scans.push_back({e.name, &e.fit});
  scans.push_back({"this scan", &input.fit});
  std::string out =
      "<section id=\"history\" aria-labelledby=\"history-head\"><h2 id=\"history-head\">Ring by ring</h2>" +
      summary(scans);
  for (std::size_t i = scans.size() - 1; i > 0; --i) {
    const std::string head = "From " + named(scans[i - 1].name) + " to " + named(scans[i].name);
    out += "<h3>" + head + "</h3>" + added_pieces(*scans[i - 1].fit, *scans[i].fit) +
           changed_seams(*scans[i - 1].fit, *scans[i].fit, input.fit);
  }
  return out + "</section>\n";
}

}  // namespace interstice::report
