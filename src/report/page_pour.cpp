// The pour page: how to tilt, how much to mix, what to tape, what to mind.
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <set>

#include "report/markup.h"
#include "report/page_parts.h"

namespace interstice::report {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// The shell cut by the upright plane of the tilt: x along the azimuth, z along the axis, turned so that up is
// up.
struct Section {
  double tilt, azimuth;  // rad
  Vector2d turned(double x, double z) const {
    return {x * std::cos(tilt) - z * std::sin(tilt), x * std::sin(tilt) + z * std::cos(tilt)};
  }
  Vector2d turned(const Vector3d& p) const {
    return turned(p.x() * std::cos(azimuth) + p.y() * std::sin(azimuth), p.z());
  }
};

using Line = std::vector<Vector2d>;

// Meridian on both sides, from rim over the pole to rim, `out_mm` outside the form.
Line contour(const geometry::Profile& form, double out_mm, const Section& section) {
  Line out;
  const int steps = 60;
  for (int i = -steps; i <= steps; ++i) {
    const geometry::MeridianPoint m = form.at(form.length() * std::abs(i) / steps);
    const Vector2d p = m.rz + out_mm * m.normal;
    out.push_back(section.turned(i < 0 ? -p.x() : p.x(), p.y()));
  }
  return out;
}

std::string drawn(const Line& line) {
  std::string out;
  for (const Vector2d& p : line) out += (out.empty() ? "M" : "L") + fixed(p.x(), 1) + " " + fixed(-p.y(), 1);
  return out;
}

std::string seams_listed(const std::vector<std::array<std::string, 2>>& seams) {
  std::map<std::string, std::string> by_piece;
  std::vector<std::string> order;
  for (const auto& s : seams) {
    if (!by_piece.contains(s[0])) order.push_back(s[0]);
    by_piece[s[0]] += (by_piece[s[0]].empty() ? "" : ", ") + named(s[1]);
  }
  std::string out = "<ul class=\"tape-list\">";
  for (const std::string& piece : order) out += "<li>" + named(piece) + " to " + by_piece[piece] + "</li>";
  return out + "</ul>";
}

std::string place_named(const PourPlace& p) {
  if (p.end) return seam_named(p.seam) + " (open end)";
  if (!p.along) return seam_named(p.seam);
  const bool away = p.along->from_end_mm >= 0.5;
  return seam_named(p.seam) + ", " + (away ? length_html(p.along->from_end_mm, 0) + " from" : "at") +
         " its end at " + named(p.along->end);
}

std::string places_listed(const std::vector<PourPlace>& places) {
  std::string out;
  for (const PourPlace& p : places) out += (out.empty() ? "" : "; ") + place_named(p);
  return out;
}

std::string pricks_listed(const std::vector<PourPlace>& places) {
  std::string out = "<ul class=\"tape-list\">";
  for (const PourPlace& p : places) {
    out += "<li>" + place_named(p) + " (" +
           (p.volume_ml > 0 ? volume_html(p.volume_ml, 1) + " of air"
                            : "lower end of " + length_html(p.length_mm, 0)) +
           ")</li>";
  }
  return out + "</ul>";
}

std::string pour_card(const PageInput& input, const SheetPour& pour, std::size_t n) {
  const std::string number = std::to_string(n + 1), id = "pour-" + number;
  std::string out = "<article class=\"pour\" aria-labelledby=\"" + id + "-head\"><h3 id=\"" + id +
                    "-head\"><label for=\"" + id + "\"><input type=\"checkbox\" id=\"" + id + "\"> Pour " +
                    number + ": " + volume_html(pour.volume_ml, 0) + "</label></h3>";
  out += "<div class=\"drawings\"><figure>" + tilt_drawing(input, pour) +
         "<figcaption>From the side</figcaption></figure><figure>" + pour_map(input, pour) +
         "<figcaption>From above: taped seams thick, P pour here" +
         (pour.inlets.size() > 1 ? ", p and here" : "") + (pour.vents.empty() ? "" : ", V vent") +
         (pour.dam.empty() ? "" : ", D close this end") + (pour.pricks.empty() ? "" : ", x prick") +
         "</figcaption></figure></div>";
  const std::string start = number + ". ";
  const std::string words = pour.words.rfind(start, 0) == 0 ? pour.words.substr(start.size()) : pour.words;
  out += "<p>" + prose(words) + "</p><dl><dt>Mix</dt><dd>" + volume_html(pour.mix_ml, 0);
  if (pour.mix_g) out += ", " + mass_html(*pour.mix_g);
  out += " (what clings to the cup included" +
         (pour.creep_ml >= 0.5 ? ", and " + volume_html(pour.creep_ml, 0) +
                                     " for what may creep into seams too narrow to fill and along the rim"
                               : std::string()) +
         ")</dd><dt>Depth</dt><dd>" + length_html(pour.deepest_mm, 0) + "</dd>";
  if (!pour.vents.empty())
    out += "<dt>Leave open until resin shows</dt><dd>" + places_listed(pour.vents) + "</dd>";
  if (!pour.dam.empty()) out += "<dt>Close</dt><dd>" + places_listed(pour.dam) + "</dd>";
  if (!pour.inlets.empty()) out += "<dt>Pour in at</dt><dd>" + places_listed(pour.inlets) + "</dd>";
  if (!pour.pricks.empty())
    out += "<dt>Prick the tape until resin shows, then close</dt><dd>" + pricks_listed(pour.pricks) + "</dd>";
  out += "</dl>";
  if (!pour.tape.empty()) {
    std::set<std::array<std::string, 2>> taped(pour.tape.begin(), pour.tape.end());
    std::vector<std::array<std::string, 2>> left;
    for (const seams::FitSeam& s : input.fit.seams) {
      if (!taped.contains(s.tiles) && !taped.contains({s.tiles[1], s.tiles[0]})) left.push_back(s.tiles);
    }
    out += "<details><summary>Taping list: " + std::to_string(pour.tape.size()) +
           (pour.tape.size() == 1 ? " seam" : " seams") + "</summary>";
    if (!left.empty() && left.size() < pour.tape.size() / 2)
      out += "<p>All seams but these " + std::to_string(left.size()) + ":</p>" + seams_listed(left) +
             "<p>That is:</p>";
    out += seams_listed(pour.tape) + "</details>";
  }
  return out + "</article>\n";
}

std::string volumes(const PourSheet& sheet) {
  std::string out =
      "<table><caption>Volumes</caption><tbody><tr><th scope=\"row\">All voids, taped flush</th><td>" +
      volume_html(sheet.void_volume_ml, 0) + "</td></tr><tr><th scope=\"row\">of that seams</th><td>" +
      volume_html(sheet.seams_ml, 0) + "</td></tr><tr><th scope=\"row\">of that under the pieces</th><td>" +
      volume_html(sheet.under_pieces_ml, 0) + "</td></tr>";
  if (sheet.rim_ml >= 0.5)
    out += "<tr><th scope=\"row\">of that between the lowest ring and the rim</th><td>" +
           volume_html(sheet.rim_ml, 0) + "</td></tr>";
  if (sheet.stranded_ml > 0.05)
    out += "<tr><th scope=\"row\">Out of resin's reach</th><td>" + volume_html(sheet.stranded_ml, 1) + ", " +
           length_html(sheet.stranded_length_mm, 0) + " of seam</td></tr>";
  if (sheet.pinched_ml > 0.05)
    out += "<tr><th scope=\"row\">Out of reach behind narrow throats</th><td>" +
           volume_html(sheet.pinched_ml, 1) + ", along " + length_html(sheet.pinched_length_mm, 0) +
           " of seam</td></tr>";
  return out + "<tr><th scope=\"row\">Air left after the last pour, about</th><td>" +
         volume_html(sheet.trapped_ml_after, 1) + "</td></tr></tbody></table>";
}

// The seam cut off, with its range where the uncertainty of the widths decides.
std::string cut_off(const SheetStranded& s) {
  std::string out = length_html(s.length_mm, 0);
  if (s.length_high_mm - s.length_low_mm > 1)
    out += " (" + length_html(s.length_low_mm, 0) + " to " + length_html(s.length_high_mm, 0) + ")";
  out += ", " + volume_html(s.volume_ml, 1);
  return s.proved ? out : out + ", if too tight";
}

std::string stranded(const PageInput& input) {
  const PourSheet& sheet = *input.pour;
  if (sheet.stranded.empty()) return "";
  std::string out =
      "<h3>Where resin does not get</h3><div class=\"wide-table\" tabindex=\"0\" role=\"region\" "
      "aria-label=\"Table of seams resin does not reach\"><table><thead><tr><th scope=\"col\">Behind</th><th "
      "scope=\"col\">Width</th><th scope=\"col\">Seam cut off</th>"
      "<th scope=\"col\">Opening it frees</th></tr></thead><tbody>";
  for (const SheetStranded& s : sheet.stranded) {
    const std::size_t i = seam_of(input.fit, s.behind);
    out += "<tr><th scope=\"row\">" +
           (i < input.fit.seams.size() ? seam_link(input.fit, i) : seam_named(s.behind)) + "</th><td>" +
           length_html(s.width_mm, 2) + "</td><td>" + cut_off(s) + "</td><td>" +
           length_html(s.freed_length_mm, 0) + "</td></tr>";
  }
  return out + "</tbody></table></div>";
}

// Seams resin runs along without getting down to the form.
std::string narrow_behind(const PageInput& input) {
  const PourSheet& sheet = *input.pour;
  if (sheet.narrow.empty()) return "";
  std::string out =
      "<h3>Where resin runs along the mouth but does not get down</h3><div class=\"wide-table\" "
      "tabindex=\"0\" "
      "role=\"region\" aria-label=\"Table of seams narrow behind their mouths\"><table><thead><tr><th "
      "scope=\"col\">Seam</th><th scope=\"col\">Mouth</th><th scope=\"col\">Behind it</th><th "
      "scope=\"col\">Stays empty</th></tr></thead><tbody>";
  for (const SheetNarrow& n : sheet.narrow) {
    const std::size_t i = seam_of(input.fit, n.tiles);
    out += "<tr><th scope=\"row\">" +
           (i < input.fit.seams.size() ? seam_link(input.fit, i) : seam_named(n.tiles)) + "</th><td>" +
           length_html(n.mouth_mm, 2) + "</td><td>" + with_uncertainty_html(n.throat_mm, n.throat_u95_mm) +
           (n.proved ? "" : " (doubtful)") + "</td><td>" +
           (n.volume_ml < 0.05 ? std::string("little")
                               : length_html(n.length_mm, 0) + ", " + volume_html(n.volume_ml, 1)) +
           "</td></tr>";
  }
  return out + "</tbody></table></div>";
}

std::string lines(const char* head, const std::vector<std::string>& texts, const char* kind) {
  if (texts.empty()) return "";
  std::string out = "<div class=\"" + std::string(kind) + "\"><h3>" + head + "</h3><ul>";
  for (const std::string& t : texts) out += "<li>" + prose(t) + "</li>";
  return out + "</ul></div>";
}

std::string level_marks(const Line& outer, double depth_mm, double left, double right) {
  double lowest = 1e9;
  for (const Vector2d& p : outer) lowest = std::min(lowest, p.y());
  const std::string y = fixed(-(lowest + depth_mm), 1);
  return "<path class=\"level\" d=\"M" + fixed(left, 1) + " " + y + "H" + fixed(right, 1) +
         "\"/><text class=\"level-name\" x=\"" + fixed(right - 2, 1) + "\" y=\"" +
         fixed(-(lowest + depth_mm) - 4, 1) + "\" text-anchor=\"end\">resin</text>";
}

}  // namespace

std::string tilt_drawing(const PageInput& input, const SheetPour& pour) {
  const geometry::Profile form(input.fit.form_profile);
  const Section section{pour.tilt_deg * std::numbers::pi / 180, pour.azimuth_deg * std::numbers::pi / 180};
  const double t = input.plan.tile_thickness_mm;
  const Line inner = contour(form, 0, section), outer = contour(form, t, section);
  Vector2d low(1e9, 1e9), high(-1e9, -1e9);
  for (const Vector2d& p : outer) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  const double left = low.x() - 44, right = high.x() + 44, top = high.y() + 34, bottom = low.y() - 14;
  const std::string id = "shell-" + std::to_string(std::abs(static_cast<long long>(pour.tilt_deg * 1000))) +
                         "-" + std::to_string(static_cast<long long>(pour.volume_ml * 1000));
  std::string out = "<svg class=\"tilt\" viewBox=\"" + fixed(left, 1) + " " + fixed(-top, 1) + " " +
                    fixed(right - left, 1) + " " + fixed(top - bottom, 1) +
                    "\" role=\"img\" aria-label=\"The shell leaned " + fixed(pour.tilt_deg, 0) +
                    " degrees with " + escaped(shortened(pour.up, 40)) + " up\">";
  Line shell = outer;
  shell.insert(shell.end(), inner.rbegin(), inner.rend());
  double lowest = low.y();
  out += "<clipPath id=\"" + id + "\"><path d=\"" + drawn(shell) +
         "Z\"/></clipPath><path class=\"bench\" d=\"M" + fixed(left, 1) + " " + fixed(-lowest + 2, 1) + "H" +
         fixed(right, 1) + "\"/><path class=\"form\" d=\"" + drawn(inner) +
         "Z\"/><path class=\"shell\" d=\"" + drawn(shell) + "Z\"/><rect class=\"resin\" clip-path=\"url(#" +
         id + ")\" x=\"" + fixed(left, 1) + "\" y=\"" + fixed(-(lowest + pour.deepest_mm), 1) +
         "\" width=\"" + fixed(right - left, 1) + "\" height=\"" + fixed(pour.deepest_mm, 1) + "\"/>";
  out += level_marks(outer, pour.deepest_mm, left, right);
  const Vector2d axis = section.turned(0, 0), foot = section.turned(0, form.points().front().y() + t + 18);
  out += "<path class=\"axis\" d=\"" + drawn({axis, foot}) + "\"/><text class=\"angle\" x=\"" +
         fixed(foot.x(), 1) + "\" y=\"" + fixed(-foot.y() - 5, 1) + "\" text-anchor=\"middle\">" +
         fixed(pour.tilt_deg, 0) + "\xC2\xB0</text>";
  const seams::FitTile* up = tile_of(input.fit, pour.up);
  if (up && !up->arris.empty() && pour.tilt_deg > 0.5) {
    const double r = std::hypot(up->face.origin.x(), up->face.origin.y());
    const Vector2d p = section.turned(r + 10, up->face.origin.z() + 6);
    out += "<text class=\"up-name\" x=\"" + fixed(p.x(), 1) + "\" y=\"" + fixed(-p.y(), 1) +
           "\" text-anchor=\"" + (p.x() > 0 ? "start" : "end") + "\">" + in_drawing(pour.up) + " up</text>";
  }
  if (!pour.inlets.empty()) {
    const Vector2d p = section.turned(form.point(pour.inlets.front().map, t));
    out += "<g class=\"inlet\" transform=\"translate(" + fixed(p.x(), 1) + " " + fixed(-p.y(), 1) +
           ")\"><path d=\"M0 -2L-5 -12H5Z\"/><text y=\"-15\">P</text></g>";
  }
  return out + "</svg>";
}

std::string pour_part(const PageInput& input) {
  std::string out = "<section id=\"pour\" aria-labelledby=\"pour-head\"><h2 id=\"pour-head\">Pour page</h2>";
  if (!input.pour)
    return out + "<p>No pour plan goes with this result (pour.json is not there).</p></section>\n";
  const PourSheet& sheet = *input.pour;
  if (!sheet.ready) {
    out += "<p class=\"hold\"><strong>Do not pour yet.</strong> " +
           std::string(sheet.ready_for_rings_on
                           ? "The rings that are on could be poured as they are."
                           : "What follows is what could be reached as the shell stands now.") +
           "</p>";
  }
  out += volumes(sheet);
  if (!sheet.resin_name.empty()) out += "<p>Resin: " + named(sheet.resin_name) + "</p>";
  if (!sheet.pours.empty()) out += "<h3>Tilts, in this order</h3>";
  for (std::size_t i = 0; i < sheet.pours.size(); ++i) out += pour_card(input, sheet.pours[i], i);
  out += stranded(input) + narrow_behind(input);
  if (!sheet.build_words.empty()) out += "<p>" + prose(sheet.build_words) + "</p>";
  return out + lines("Mind", sheet.warnings, "mind") + lines("Take care", sheet.cautions, "care") +
         "</section>\n";
}

}  // namespace interstice::report
