// Seams: a card each for those that need work, a list of the rest, and the graph of a seam's width along its
// length.
#include <algorithm>
#include <cmath>

#include "report/bench_list.h"
#include "report/markup.h"
#include "report/page_parts.h"
#include "seams/seam_ends.h"

namespace interstice::report {
namespace {

// The graph's frame in its own units.
constexpr double kLeft = 34, kRight = 316, kTop = 10, kBottom = 104, kWidest = core::kWidestSeam_mm;

struct Axes {
  double from_mm, to_mm;
  double x(double s) const {
    return kLeft + (kRight - kLeft) * (s - from_mm) / std::max(1e-6, to_mm - from_mm);
  }
  static double y(double width) {
    return kBottom - (kBottom - kTop) * std::clamp(width, 0.0, kWidest) / kWidest;
  }
};

std::string point(double x, double y) {
  return fixed(x, 1) + "," + fixed(y, 1);
}

// Stretches of samples that were seen (or were not), each as one polyline; neighbours share an end.
std::string curve(const std::vector<seams::SeamSample>& samples, const Axes& axes, bool seen) {
  std::string out, points;
  const auto close = [&] {
    if (points.find(' ') != std::string::npos)
      out += "<polyline class=\"" + std::string(seen ? "curve" : "curve guess") + "\" points=\"" + points +
             "\"/>";
    points.clear();
  };
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const bool mine = (samples[i].sd_mm >= 0) == seen;
    const bool edge = !seen && ((i > 0 && samples[i - 1].sd_mm < 0) ||
                                (i + 1 < samples.size() && samples[i + 1].sd_mm < 0));
    if (mine || edge)
      points += (points.empty() ? "" : " ") + point(axes.x(samples[i].s_mm), Axes::y(samples[i].width_mm));
    if (!mine) close();
    if (!mine && edge) points = point(axes.x(samples[i].s_mm), Axes::y(samples[i].width_mm));
  }
  close();
  return out;
}

// The narrowest width behind the mouth, where it is known.
std::string throat_curve(const std::vector<seams::SeamSample>& samples, const Axes& axes) {
  std::string out, points;
  const auto close = [&] {
    if (points.find(' ') != std::string::npos)
      out += "<polyline class=\"throat\" points=\"" + points + "\"/>";
    points.clear();
  };
  for (const seams::SeamSample& s : samples) {
    if (s.throat) {
      points += (points.empty() ? "" : " ") + point(axes.x(s.s_mm), Axes::y(s.throat->mm));
    } else {
      close();
    }
  }
  close();
  return out;
}

// The band of expanded uncertainty where the seam was seen.
std::string band(const std::vector<seams::SeamSample>& samples, const Axes& axes) {
  std::string out, upper, lower;
  const auto close = [&] {
    if (upper.find(' ') != std::string::npos)
      out += "<polygon class=\"band\" points=\"" + upper + " " + lower + "\"/>";
    upper.clear();
    lower.clear();
  };
  for (const seams::SeamSample& s : samples) {
    if (s.sd_mm < 0) {
      close();
      continue;
    }
    const double x = axes.x(s.s_mm);
    upper += (upper.empty() ? "" : " ") + point(x, Axes::y(s.width_mm + 2 * s.sd_mm));
    lower = point(x, Axes::y(s.width_mm - 2 * s.sd_mm)) + (lower.empty() ? "" : " ") + lower;
  }
  close();
  return out;
}

std::string graph_grid(double smallest_fill_mm, const Axes& axes) {
  std::string out;
  for (int w = 0; w <= static_cast<int>(kWidest); w += 2) {
    const double y = Axes::y(w);
    out += "<path class=\"grid\" d=\"M" + point(kLeft, y) + "H" + fixed(kRight, 1) +
           "\"/><text class=\"tick\" x=\"" + fixed(kLeft - 5, 1) + "\" y=\"" + fixed(y + 4, 1) +
           "\" text-anchor=\"end\">" + length_in_drawing(w, 0) + "</text>";
  }
  const double length = axes.to_mm - axes.from_mm, step = length > 60 ? 20 : length > 25 ? 10 : 5;
  for (double s = 0; s <= length + 1e-6; s += step) {
    const double x = axes.x(axes.from_mm + s);
    out += "<path class=\"grid\" d=\"M" + point(x, kBottom) + "v4\"/><text class=\"tick\" x=\"" +
           fixed(x, 1) + "\" y=\"118\" text-anchor=\"middle\">" + length_in_drawing(s, 0) + "</text>";
  }
  const double y = Axes::y(smallest_fill_mm);
  out += "<rect class=\"below\" x=\"" + fixed(kLeft, 1) + "\" y=\"" + fixed(y, 1) + "\" width=\"" +
         fixed(kRight - kLeft, 1) + "\" height=\"" + fixed(kBottom - y, 1) +
         "\"/><path class=\"limit\" d=\"M" + point(kLeft, y) + "H" + fixed(kRight, 1) + "\"/>";
  return out;
}

std::string seam_numbers(const seams::FitDocument& fit, const seams::FitSeam& s) {
  std::string out;
  if (!s.narrowest_mm) return "<p class=\"width\">No photo shows its edges well.</p>";
  out += "<p class=\"width\">" + with_uncertainty_html(*s.narrowest_mm, s.u95_mm.value_or(0)) + "</p><p>";
  if (s.tight_length_mm > 0.05) {
    out += "Below " + length_html(fit.smallest_fill_mm, 2) + " over " +
           length_html(std::max(0.5, s.tight_length_mm), 0) + " of " + length_html(s.length_mm, 0) + ". ";
  } else {
    out += "Length " + length_html(s.length_mm, 0) + ". ";
  }
  if (s.throat_mm && (*s.throat_mm < *s.narrowest_mm - 0.05 || seams::deciding_throat(s))) {
    out += "Behind the mouth " + with_uncertainty_html(*s.throat_mm, s.throat_u95_mm.value_or(0)) + " wide";
    if (s.pinched_length_mm > 0.05)
      out += s.tight_length_mm > 0.05 ? ", too narrow over another " + length_html(s.pinched_length_mm, 0)
                                      : ", too narrow over " + length_html(s.pinched_length_mm, 0) + " of " +
                                            length_html(s.length_mm, 0);
    out += s.throat_from == seams::ThroatFrom::walls ? " (from the walls seen)."
                                                     : " (from the bevel, as not both walls were seen).";
  }
  if (s.doubt == seams::Doubt::throat) out += " The mouth is wide enough; what lies behind it is in doubt.";
  return out + "</p>";
}

std::string card(const PageInput& input, const PagePhotos& photos, std::size_t i) {
  const seams::FitSeam& s = input.fit.seams[i];
  const std::string id = seam_id(i);
  std::string out = "<article class=\"card " + verdict_class(s.verdict) + "\" id=\"" + id +
                    "\" data-card=\"" + std::to_string(i) + "\" tabindex=\"-1\" aria-labelledby=\"" + id +
                    "-head\"><header><h3 id=\"" + id + "-head\">" + seam_named(s.tiles) + "</h3>" +
                    verdict_chip(s.verdict) + "</header>";
  const auto picture = photos.close.find(i);
  if (picture != photos.close.end()) {
    out += "<figure><button type=\"button\" class=\"open\" data-seam=\"" + std::to_string(i) + "\">" +
           close_up(input.fit, i, picture->second) + "</button><figcaption>" + named(s.best_photo) +
           "</figcaption></figure>";
  }
  out += seam_numbers(input.fit, s) + width_graph(input.fit, s);
  for (const std::string& advice : s.advice) out += "<p class=\"advice\">" + prose(advice) + "</p>";
  return out + "</article>\n";
}

std::string clear_row(const seams::FitDocument& fit, std::size_t i) {
  const seams::FitSeam& s = fit.seams[i];
  return "<article class=\"card small clear\" id=\"" + seam_id(i) + "\" data-card=\"" + std::to_string(i) +
         "\" tabindex=\"-1\"><header><h4>" + seam_named(s.tiles) + "</h4>" + verdict_chip(s.verdict) +
         "</header>" + seam_numbers(fit, s) + width_graph(fit, s) + "</article>\n";
}

}  // namespace

std::string verdict_class(seams::Verdict verdict) {
  switch (verdict) {
    case seams::Verdict::too_tight:
      return "tight";
    case seams::Verdict::pinched:
      return "pinch";
    case seams::Verdict::doubtful:
      return "doubt";
    case seams::Verdict::unseen:
      return "unseen";
    case seams::Verdict::clear:
      break;
  }
  return "clear";
}

std::string verdict_chip(seams::Verdict verdict) {
  return "<span class=\"chip " + verdict_class(verdict) +
         "\"><svg class=\"sample\" viewBox=\"0 0 28 10\" aria-hidden=\"true\"><path d=\"M1 5H27\"/></svg>" +
         seams::name_of(verdict) + "</span>";
}

std::string seam_id(std::size_t index) {
  return "seam-" + std::to_string(index);
}

std::size_t seam_of(const seams::FitDocument& fit, const std::array<std::string, 2>& tiles) {
  const auto it = std::find_if(fit.seams.begin(), fit.seams.end(), [&](const seams::FitSeam& s) {
    return s.tiles == tiles || (s.tiles[0] == tiles[1] && s.tiles[1] == tiles[0]);
  });
  return static_cast<std::size_t>(it - fit.seams.begin());
}

const seams::FitTile* tile_of(const seams::FitDocument& fit, const std::string& label) {
  for (const seams::FitTile& t : fit.tiles) {
    if (t.label == label) return &t;
  }
  return nullptr;
}

std::string seam_link(const seams::FitDocument& fit, std::size_t index) {
  return "<a href=\"#" + seam_id(index) + "\" data-seam=\"" + std::to_string(index) + "\">" +
         seam_named(fit.seams[index].tiles) + "</a>";
}

std::string width_graph(const seams::FitDocument& fit, const seams::FitSeam& s) {
  if (s.samples.size() < 2) return "";
  const Axes axes{s.samples.front().s_mm, s.samples.back().s_mm};
  const std::array<std::string, 2> ends = seams::seam_ends(fit, s);
  const auto narrowest =
      std::min_element(s.samples.begin(), s.samples.end(),
                       [](const auto& a, const auto& b) { return a.width_mm < b.width_mm; });
  std::string out =
      "<svg class=\"graph\" viewBox=\"0 0 324 136\" role=\"img\" aria-label=\"Width along the seam " +
      seam_spoken(s.tiles) + ": narrowest " + fixed(narrowest->width_mm, 1) + " mm at " +
      fixed(narrowest->s_mm - axes.from_mm, 0) + " of " + fixed(axes.to_mm - axes.from_mm, 0) +
      " mm from the end at " + in_drawing(ends[0]) + "\">";
  out += graph_grid(fit.smallest_fill_mm, axes) + band(s.samples, axes) + curve(s.samples, axes, false) +
         throat_curve(s.samples, axes) + curve(s.samples, axes, true);
  out += "<circle class=\"narrowest\" cx=\"" + fixed(axes.x(narrowest->s_mm), 1) + "\" cy=\"" +
         fixed(Axes::y(narrowest->width_mm), 1) + "\" r=\"4\"/>";
  return out + "<text class=\"tick\" x=\"" + fixed(kLeft, 1) + "\" y=\"132\">" + in_drawing(ends[0]) +
         "</text><text class=\"tick\" x=\"" + fixed(kRight, 1) + "\" y=\"132\" text-anchor=\"end\">" +
         in_drawing(ends[1]) +
         "</text><text class=\"tick\" x=\"175\" y=\"132\" text-anchor=\"middle\">width along the seam "
         "(<tspan class=\"unit\">mm</tspan>)</text></svg>";
}

std::string seams_part(const PageInput& input, const PagePhotos& photos) {
  const std::vector<std::size_t> flagged = seams_needing_work(input.fit);
  std::string out =
      "<section id=\"seams\" aria-labelledby=\"seams-head\"><h2 id=\"seams-head\">Seams that need work</h2>";
  if (flagged.empty())
    out += "<p>None: every seam measured is proved clear.</p>";
  else
    out +=
        "<p>Worst first. Each photo shows both pieces' edges, the tight stretch and the narrowest place. In "
        "a graph the shaded "
        "part lies below the smallest fill; the band is the uncertainty (95 %); a broken line was not seen; "
        "the names under it are the pieces at its ends; the line of dashes and dots is the narrowest width "
        "behind the mouth. Tap a photo to enlarge it.</p>"
        "<div class=\"cards\">";
  for (const std::size_t i : flagged) out += card(input, photos, i);
  if (!flagged.empty()) out += "</div>";
  std::string rest;
  for (std::size_t i = 0; i < input.fit.seams.size(); ++i) {
    if (input.fit.seams[i].verdict == seams::Verdict::clear) rest += clear_row(input.fit, i);
  }
  if (!rest.empty())
    out += "<details id=\"clear-seams\"><summary>Seams that are clear</summary><div class=\"cards\">" + rest +
           "</div></details>";
  return out + "</section>\n";
}

}  // namespace interstice::report
