// The bowl unrolled: the true-ortho picture, the measured outlines, the plan's outlines and the seams, on the
// map.
#include <algorithm>
#include <cmath>

#include <opencv2/imgcodecs.hpp>

#include "plan/piece_model.h"
#include "report/markup.h"
#include "report/page_parts.h"

namespace interstice::report {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kMargin = 14;      // round the rim for labels, mm on the map
constexpr double kCoarsest = 0.08;  // a drawing is kept to this, mm: a third of a pixel on a large screen

// Fewer points, none of those left out farther than `tolerance` from the line (Ramer, 1972; Douglas and
// Peucker, 1973).
void thin(const std::vector<Vector2d>& line, std::size_t first, std::size_t last, double tolerance,
          std::vector<bool>& keep) {
  double worst = tolerance;
  std::size_t at = 0;
  const Vector2d d = line[last] - line[first];
  for (std::size_t i = first + 1; i < last; ++i) {
    const Vector2d e = line[i] - line[first];
    const double t = d.squaredNorm() > 0 ? std::clamp(e.dot(d) / d.squaredNorm(), 0.0, 1.0) : 0.0;
    const double distance = (e - t * d).norm();
    if (distance > worst) {
      worst = distance;
      at = i;
    }
  }
  if (at == 0) return;
  keep[at] = true;
  thin(line, first, at, tolerance, keep);
  thin(line, at, last, tolerance, keep);
}

std::string drawn(const std::vector<Vector2d>& line, bool closed) {
  if (line.size() < 2) return "";
  std::vector<bool> keep(line.size(), false);
  keep.front() = keep.back() = true;
  thin(line, 0, line.size() - 1, kCoarsest, keep);
  std::string out;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (keep[i]) out += (out.empty() ? "M" : "L") + fixed(line[i].x(), 2) + " " + fixed(-line[i].y(), 2);
  }
  return closed ? out + "Z" : out;
}

std::vector<Vector2d> on_map(const geometry::Profile& form, const std::vector<Vector3d>& points) {
  std::vector<Vector2d> out;
  for (const Vector3d& p : points) out.push_back(form.locate(p).uv);
  return out;
}

int ring_of(const seams::FitDocument& fit, const seams::FitSeam& seam) {
  const seams::FitTile *a = tile_of(fit, seam.tiles[0]), *b = tile_of(fit, seam.tiles[1]);
  return std::max(a ? a->ring : 1, b ? b->ring : 1);
}

std::string planned_outlines(const plan::Plan& plan) {
  std::string out;
  for (std::size_t i = 0; i < plan.tiles.size(); ++i) {
    const plan::PieceFace face = plan::planned_face(plan, geometry::TileIndex(i));
    std::vector<Vector2d> line;
    for (const Vector2d& p : face.outline) line.push_back(plan.profile.locate(face.frame.lift(p)).uv);
    out += "<path vector-effect=\"non-scaling-stroke\" data-ring=\"" +
           std::to_string(plan.tiles[geometry::TileIndex(i)].ring) + "\" d=\"" + drawn(line, true) + "\"/>";
  }
  return out;
}

std::string measured_outlines(const seams::FitDocument& fit, const geometry::Profile& form) {
  std::string out;
  for (const seams::FitTile& tile : fit.tiles) {
    if (tile.arris.size() < 3) continue;
    out += "<path vector-effect=\"non-scaling-stroke\" data-ring=\"" + std::to_string(tile.ring) + "\" d=\"" +
           drawn(on_map(form, tile.arris), true) + "\"/>";
  }
  return out;
}

std::string piece_names(const PageInput& input, const geometry::Profile& form) {
  std::string out;
  for (std::size_t i = 0; i < input.fit.tiles.size(); ++i) {
    const seams::FitTile& tile = input.fit.tiles[i];
    Vector2d at = i < input.plan.tiles.size()
                      ? geometry::centroid(input.plan.tiles[geometry::TileIndex(i)].outline)
                      : Vector2d(0, 0);
    if (!tile.arris.empty()) at = form.locate(tile.face.origin).uv;
    out += "<text class=\"piece-name\" data-ring=\"" + std::to_string(tile.ring) + "\" x=\"" +
           fixed(at.x(), 1) + "\" y=\"" + fixed(-at.y() + 2.5, 1) + "\">" + in_drawing(tile.label) +
           "</text>";
    if (tile.state == plan::TileState::placed) continue;
    out += "<text class=\"piece-state\" data-ring=\"" + std::to_string(tile.ring) + "\" x=\"" +
           fixed(at.x(), 1) + "\" y=\"" + fixed(-at.y() + 8.5, 1) + "\">" + name_of(tile.state) + "</text>";
  }
  return out;
}

std::vector<Vector2d> seam_line(const seams::FitSeam& seam, const geometry::Profile& form) {
  std::vector<Vector2d> out;
  for (const seams::SeamSample& s : seam.samples) out.push_back(form.locate((s.a + s.b) / 2).uv);
  return out;
}

std::string seam_paths(const seams::FitDocument& fit, const geometry::Profile& form) {
  std::string out;
  for (std::size_t i = 0; i < fit.seams.size(); ++i) {
    out += "<path fill=\"none\" vector-effect=\"non-scaling-stroke\" id=\"line-" + std::to_string(i) +
           "\" d=\"" + drawn(seam_line(fit.seams[i], form), false) + "\"/>";
  }
  return out;
}

std::string seam_on_map(const seams::FitDocument& fit, std::size_t i) {
  const seams::FitSeam& s = fit.seams[i];
  const std::string number = std::to_string(i), kind = verdict_class(s.verdict);
  const bool flagged = s.verdict != seams::Verdict::clear;
  const std::string uses = "<use class=\"hit\" href=\"#line-" + number +
                           "\"/><use class=\"casing\" href=\"#line-" + number +
                           "\"/><use class=\"line\" href=\"#line-" + number + "\"/>";
  const std::string common = " class=\"seam " + kind + "\" data-seam=\"" + number + "\" data-ring=\"" +
                             std::to_string(ring_of(fit, s)) + "\"";
  if (!flagged) return "<g" + common + ">" + uses + "</g>";
  std::string out = "<a href=\"#" + seam_id(i) + "\"" + common + " aria-label=\"Seam " +
                    seam_spoken(s.tiles) + ", " + seams::name_of(s.verdict);
  if (const auto throat = seams::deciding_throat(s)) {
    out += ", " + fixed(throat->mm, 2) + " mm wide behind the mouth";
  } else if (s.narrowest_mm) {
    out += ", " + fixed(*s.narrowest_mm, 2) + " mm";
  }
  return out + "\">" + uses + "</a>";
}

// Halfway along its seam, where neighbours' labels are farthest.
std::string width_labels(const seams::FitDocument& fit, const geometry::Profile& form) {
  std::string out;
  for (std::size_t i = 0; i < fit.seams.size(); ++i) {
    const seams::FitSeam& s = fit.seams[i];
    if (s.verdict == seams::Verdict::clear) continue;
    const std::vector<Vector2d> line = seam_line(s, form);
    const Vector2d at = line.empty() ? s.map : line[line.size() / 2];
    out += "<text class=\"width-name " + verdict_class(s.verdict) + "\" data-ring=\"" +
           std::to_string(ring_of(fit, s)) + "\" x=\"" + fixed(at.x() + 2.5, 1) + "\" y=\"" +
           fixed(-at.y() - 1.5, 1) + "\">" +
           (s.narrowest_mm ? length_in_drawing(seams::deciding_throat(s).value_or(seams::mouth_of(s)).mm, 1)
                           : std::string("?")) +
           "</text>";
  }
  return out;
}

std::string ortho_image(const PageInput& input) {
  if (input.ortho.empty()) return "";
  std::vector<uchar> bytes;
  cv::imencode(".jpg", input.ortho, bytes, {cv::IMWRITE_JPEG_QUALITY, 86});
  const double half = (input.ortho_grid.centre + 0.5) * input.ortho_grid.step_mm, side = 2 * half;
  return "<clipPath id=\"rim\"><circle r=\"" + fixed(input.plan.profile.length(), 1) +
         "\"/></clipPath><image id=\"ortho\" clip-path=\"url(#rim)\" x=\"" + fixed(-half, 3) + "\" y=\"" +
         fixed(-half, 3) + "\" width=\"" + fixed(side, 3) + "\" height=\"" + fixed(side, 3) + "\" href=\"" +
         jpeg_uri({reinterpret_cast<const char*>(bytes.data()), bytes.size()}) + "\"/>";
}

std::string map_controls(const seams::FitDocument& fit) {
  int rings = 1;
  for (const seams::FitTile& t : fit.tiles) rings = std::max(rings, t.ring);
  std::string out =
      "<div class=\"controls\"><label for=\"ring\">Ring <select id=\"ring\"><option value=\"0\">all</option>";
  for (int r = 1; r <= rings; ++r)
    out += "<option value=\"" + std::to_string(r) + "\">" + std::to_string(r) +
           (r == 1 ? " (at the rim)" : "") + "</option>";
  out +=
      "</select></label><label for=\"show-ortho\"><input type=\"checkbox\" id=\"show-ortho\" checked> "
      "picture</label>"
      "<label for=\"show-plan\"><input type=\"checkbox\" id=\"show-plan\" checked> plan</label>"
      "<span class=\"zoom\"><button type=\"button\" class=\"plain\" id=\"map-out\" aria-label=\"Smaller "
      "map\">\xE2\x88\x92</button>"
      "<button type=\"button\" class=\"plain\" id=\"map-in\" aria-label=\"Larger "
      "map\">+</button></span></div>";
  return out;
}

std::string legend() {
  std::string out = "<ul class=\"legend\">";
  for (const seams::Verdict v : {seams::Verdict::too_tight, seams::Verdict::pinched, seams::Verdict::doubtful,
                                 seams::Verdict::unseen, seams::Verdict::clear})
    out += "<li>" + verdict_chip(v) + "</li>";
  return out +
         "<li><svg class=\"sample\" viewBox=\"0 0 28 10\" aria-hidden=\"true\"><path class=\"as-measured\" "
         "d=\"M1 5H27\"/></svg> edge as measured</li>"
         "<li><svg class=\"sample\" viewBox=\"0 0 28 10\" aria-hidden=\"true\"><path class=\"as-planned\" "
         "d=\"M1 5H27\"/></svg> edge as planned</li></ul>";
}

double map_radius(const PageInput& input) {
  return input.plan.profile.length() + kMargin;
}

}  // namespace

std::string map_part(const PageInput& input) {
  const geometry::Profile form(input.fit.form_profile);
  const double r = map_radius(input);
  std::string out =
      "<section id=\"map\" aria-labelledby=\"map-head\"><h2 id=\"map-head\">The bowl unrolled</h2><p>As seen "
      "from above, foot in the middle, rim outside; "
      "the outer rings are drawn wider than they are. Tap a seam for its width along its length; figures are "
      "the narrowest widths, of pinched seams those behind the mouth.</p>" +
      legend() + map_controls(input.fit) +
      "<div class=\"split\"><div class=\"scroller\" tabindex=\"0\" role=\"region\" aria-label=\"Map of the "
      "bowl; scrolls when enlarged\"><svg id=\"unrolled\" viewBox=\"" +
      fixed(-r, 1) + " " + fixed(-r, 1) + " " + fixed(2 * r, 1) + " " + fixed(2 * r, 1) +
      "\" role=\"group\" aria-label=\"Map of pieces and seams\"><defs>" + seam_paths(input.fit, form) +
      "</defs>" + ortho_image(input);
  out += "<g id=\"planned\" fill=\"none\">" + planned_outlines(input.plan) +
         "</g><g id=\"measured\" fill=\"none\">" + measured_outlines(input.fit, form) + "</g>";
  for (const seams::Verdict v : {seams::Verdict::clear, seams::Verdict::unseen, seams::Verdict::doubtful,
                                 seams::Verdict::pinched, seams::Verdict::too_tight}) {
    for (std::size_t i = 0; i < input.fit.seams.size(); ++i) {
      if (input.fit.seams[i].verdict == v) out += seam_on_map(input.fit, i);
    }
  }
  out += "<g class=\"names\" aria-hidden=\"true\">" + piece_names(input, form) +
         width_labels(input.fit, form) + "</g></svg></div>";
  return out +
         "<aside id=\"map-panel\" aria-live=\"polite\" aria-label=\"Seam under the pointer\"><p>Point at a "
         "seam or tap it.</p></aside></div></section>\n";
}

std::string pour_map(const PageInput& input, const SheetPour& pour) {
  const double r = map_radius(input);
  std::string out = "<svg class=\"pour-map\" viewBox=\"" + fixed(-r, 1) + " " + fixed(-r, 1) + " " +
                    fixed(2 * r, 1) + " " + fixed(2 * r, 1) +
                    "\" role=\"img\" aria-label=\"Map of the seams to tape and the places to leave "
                    "open\"><use class=\"pieces\" href=\"#measured\"/>";
  const geometry::Profile form(input.fit.form_profile);
  for (const seams::FitTile& tile : input.fit.tiles) {
    if (tile.arris.empty()) continue;
    const Vector2d at = form.locate(tile.face.origin).uv;
    out += "<text class=\"piece-name\" x=\"" + fixed(at.x(), 1) + "\" y=\"" + fixed(-at.y() + 2.5, 1) +
           "\">" + in_drawing(tile.label) + "</text>";
  }
  for (const auto& tiles : pour.tape) {
    const std::size_t i = seam_of(input.fit, tiles);
    if (i < input.fit.seams.size()) out += "<use class=\"taped\" href=\"#line-" + std::to_string(i) + "\"/>";
  }
  const auto mark = [&](const PourPlace& place, const char* kind, const char* letter) {
    out += "<g class=\"" + std::string(kind) + "\" transform=\"translate(" + fixed(place.map.x(), 1) + " " +
           fixed(-place.map.y(), 1) + ")\">" + "<circle r=\"8\"/><text y=\"3.6\">" + letter + "</text></g>";
  };
  for (const PourPlace& p : pour.pricks) {  // beside a mark of another kind, towards the foot
    const auto near = [&](const PourPlace& other) { return (other.map - p.map).norm() < 13; };
    PourPlace at = p;
    if (std::any_of(pour.dam.begin(), pour.dam.end(), near) ||
        std::any_of(pour.vents.begin(), pour.vents.end(), near) ||
        std::any_of(pour.inlets.begin(), pour.inlets.end(), near))
      at.map -= 13 * p.map.normalized();
    mark(at, "prick", "x");
  }
  for (const PourPlace& p : pour.dam) mark(p, "dam", "D");
  for (const PourPlace& p : pour.vents) mark(p, "vent", "V");
  for (std::size_t k = pour.inlets.size(); k-- > 0;) mark(pour.inlets[k], "inlet", k == 0 ? "P" : "p");
  const double a = pour.azimuth_deg * M_PI / 180, rim = r - kMargin * 0.5;
  if (pour.tilt_deg > 0.5) {
    out += "<g class=\"upward\" transform=\"translate(" + fixed(rim * std::cos(a), 1) + " " +
           fixed(-rim * std::sin(a), 1) + ")\"><text y=\"4\">up</text></g>";
  }
  return out + "</svg>";
}

}  // namespace interstice::report
