// How well it was measured, in plain words, and where to photograph again.
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "core/median.h"
#include "report/bench_list.h"
#include "report/markup.h"
#include "report/page_parts.h"

namespace interstice::report {

using Eigen::Vector3d;

namespace {

double median_u95(const seams::FitDocument& fit) {
  std::vector<double> all;
  for (const seams::FitSeam& s : fit.seams) {
    if (s.u95_mm) all.push_back(*s.u95_mm);
  }
  return core::median(std::move(all));
}

// Where the camera stood, seen from above: the foot in the middle, low views outside.
std::string camera_places(const PageInput& input) {
  std::string dots;
  const double top = input.plan.profile.points().front().y();
  for (const scan::ScannedPhoto& photo : input.scan.photos) {
    const Vector3d c = photo.centre() - Vector3d(0, 0, top / 2);
    const double up = std::atan2(c.z(), std::hypot(c.x(), c.y())),
                 r = 100 * (1 - std::clamp(up, 0.0, std::numbers::pi / 2) / (std::numbers::pi / 2));
    const double angle = std::atan2(c.y(), c.x());
    const std::string x = fixed(r * std::cos(angle), 1), y = fixed(-r * std::sin(angle), 1);
    dots += "<g transform=\"translate(" + x + " " + y + ")\"><circle r=\"4\"/><title>" +
            escaped(shortened(photo.info.name, 60)) + "</title></g>";
  }
  std::string names;
  int outermost = 1;
  for (const seams::FitTile& t : input.fit.tiles) {
    if (t.ring != outermost || t.arris.empty()) continue;
    const double angle = std::atan2(t.face.origin.y(), t.face.origin.x());
    names += "<text x=\"" + fixed(116 * std::cos(angle), 1) + "\" y=\"" +
             fixed(-116 * std::sin(angle) + 3, 1) + "\">" + in_drawing(t.label) + "</text>";
  }
  return "<figure><svg class=\"cameras\" viewBox=\"-132 -126 264 252\" role=\"img\" aria-label=\"Where the "
         "photos were taken from, seen from above\">"
         "<circle class=\"low\" r=\"100\"/><circle class=\"mid\" r=\"50\"/>" +
         dots + names +
         "</svg><figcaption>Where the photos were taken from: middle, straight above; outer circle, level "
         "with "
         "the bench. Names: the pieces of ring 1. A gap in the dots is where a photo would help "
         "most.</figcaption></figure>";
}

std::string row(const std::string& what, const std::string& figure, const std::string& meaning) {
  return "<tr><th scope=\"row\">" + what + "</th><td>" + figure + "</td><td>" + meaning + "</td></tr>";
}

std::string figures(const PageInput& input) {
  const seams::FitQuality& q = input.fit.quality;
  std::string out =
      row("Photos used", std::to_string(q.photos_used) + " of " + std::to_string(q.photos_given),
          q.photos_used >= q.photos_given ? "None left out." : "Left out ones are listed below.");
  out += row("One pixel covers", length_html(q.pixel_footprint_mm, 2),
             "Edges are found to a part of this; nearer photos make it smaller.");
  out += row(
      "Typical uncertainty of a width", "\xC2\xB1\xC2\xA0" + length_html(median_u95(input.fit), 2),
      "Of 20 widths about 19 lie within their stated \xC2\xB1. It covers edges, camera places and scale.");
  out += row("Scale", "\xC2\xB1\xC2\xA0" + fixed(q.scale_u95_percent, 2) + " %",
             q.check_line_given ? "From the check line you measured."
                                : "<strong>The prints were taken at 100 %.</strong> Measure a check line and "
                                  "give it for sure widths.");
  if (q.length_error_mm) {
    out += row("Length check", length_html(std::abs(*q.length_error_mm), 2),
               "Largest error of lengths on cards that were not used for scale" +
                   (input.scan.quality.longest_length_mm > 0
                        ? ", up to " + length_html(input.scan.quality.longest_length_mm, 0) + " long."
                        : std::string(".")));
  }
  return out + row("Cards' corners", fixed(q.reprojection_rms_px, 2) + " px",
                   "How far corners lie from where the solved cameras put them, root mean square; below half "
                   "a pixel is good.");
}

std::string again(const seams::FitDocument& fit) {
  std::map<std::string, std::vector<std::size_t>> by_advice;
  for (const std::size_t i : seams_needing_work(fit)) {
    for (const std::string& a : fit.seams[i].advice) by_advice[a].push_back(i);
  }
  std::string out = "<h3>Where to take further photos</h3>";
  std::string wide;
  for (const std::size_t i : seams_needing_work(fit)) {
    const seams::FitSeam& s = fit.seams[i];
    if (s.verdict == seams::Verdict::doubtful && s.u95_mm && *s.u95_mm > 2 * median_u95(fit))
      wide += (wide.empty() ? "" : ", ") + seam_link(fit, i);
  }
  if (by_advice.empty() && wide.empty())
    return out + "<p>Nothing in particular: more photos would change little here.</p>";
  out += "<ul>";
  for (const auto& [advice, seams] : by_advice) {
    out += "<li>" + prose(advice) + ": ";
    for (std::size_t k = 0; k < seams.size(); ++k) out += (k ? ", " : "") + seam_link(fit, seams[k]);
    out += "</li>";
  }
  if (!wide.empty())
    out +=
        "<li>Doubtful mostly because the uncertainty is wide; nearer photos square to these seams would "
        "settle them: " +
        wide + "</li>";
  return out + "</ul>";
}

}  // namespace

std::string quality_part(const PageInput& input) {
  const seams::FitQuality& q = input.fit.quality;
  std::string out =
      "<section id=\"quality\" aria-labelledby=\"quality-head\"><h2 id=\"quality-head\">How well was it "
      "measured?</h2><table class=\"figures\"><tbody>" +
      figures(input) + "</tbody></table>";
  if (!q.left_out.empty()) {
    out += "<h3>Photos left out</h3><ul>";
    for (const auto& left : q.left_out)
      out += "<li>" + named(left.photo) + ": " + prose(left.reason) + "</li>";
    out += "</ul>";
  }
  return out + again(input.fit) + camera_places(input) + "</section>\n";
}

}  // namespace interstice::report
