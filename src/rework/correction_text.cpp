// Corrections as text: the work order, and lists of corrections from a file.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <set>

#include "core/json_reader.h"
#include "rework/corrections.h"

namespace interstice::rework {
namespace {

std::string mm(double x) {
  return fmt::format("{:.1f} mm", x);
}

std::string move_text(const seams::Correction& c) {
  std::string way;
  const auto add = [&](const std::string& part) { way += (way.empty() ? "" : " and ") + part; };
  if (c.along_mm != 0) add(mm(std::abs(c.along_mm)) + (c.along_mm > 0 ? " counter-clockwise" : " clockwise"));
  if (c.towards_pole_mm != 0)
    add(mm(std::abs(c.towards_pole_mm)) + (c.towards_pole_mm > 0 ? " towards the foot" : " towards the rim"));
  std::string text = way.empty() ? "" : "move " + c.tile + " " + way;
  if (c.turn_deg != 0) {
    text += text.empty() ? "turn " + c.tile : ", turn it";
    text += fmt::format(" {:.1f} deg", std::abs(c.turn_deg)) +
            (c.turn_deg > 0 ? " counter-clockwise" : " clockwise");
  }
  return text.empty() ? "leave " + c.tile + " where it is" : text;
}

// Which end to begin from: ", from the end at D05", or ", 4 mm from the end at D05".
std::string begin_text(const seams::Correction& c) {
  if (c.begin_at.empty()) return "";
  return (c.begin_mm >= 1 ? fmt::format(", {:.0f} mm from", c.begin_mm) : std::string(", from")) +
         " the end at " + c.begin_at;
}

std::string degrees(double angle_deg) {
  return fmt::format("{:.{}f}", angle_deg, angle_deg == std::round(angle_deg) ? 0 : 1) +
         (angle_deg == 1 ? " degree" : " degrees");
}

std::string sand_text(const seams::Correction& c) {
  std::string text = "sand " + c.tile + " where it faces " + c.facing + ": " + mm(c.depth_mm);
  if (c.length_mm > 0) text += fmt::format(" over {:.0f} mm", c.length_mm);
  if (c.angle_deg > 0) text += " with " + degrees(c.angle_deg) + " more bevel";
  return text + begin_text(c);
}

std::string ease_text(const seams::Correction& c) {
  std::string text = "ease the wall of " + c.tile + " towards " + c.facing + " by " + degrees(c.angle_deg);
  if (c.length_mm > 0) text += fmt::format(" over {:.0f} mm", c.length_mm);
  return text + begin_text(c) + ", face edge unchanged";
}

// The same as a second stroke on an edge that is named already.
std::string further_words(const seams::Correction& c) {
  std::string text = c.action == seams::Correction::Action::sand ? "sand " + mm(c.depth_mm)
                                                                 : "ease by " + degrees(c.angle_deg);
  if (c.length_mm > 0) text += fmt::format(" over {:.0f} mm", c.length_mm);
  if (c.action == seams::Correction::Action::sand && c.angle_deg > 0)
    text += " with " + degrees(c.angle_deg) + " more bevel";
  return text + begin_text(c);
}

bool same_seam(const std::array<std::string, 2>& a, const std::array<std::string, 2>& b) {
  return a == b || (a[0] == b[1] && a[1] == b[0]);
}

std::string freed_text(const seams::FitDocument& fit, const WorkStep& step) {
  const std::string reason = step_reason(fit, step);
  std::string text;
  for (const seams::Correction::Freed& f : freed_by_step(fit, step)) {
    text += (text.empty() ? "then " : ", ") + f.tiles[0] + "-" + f.tiles[1] + " " + mm(f.width_after_mm);
    if (f.throat_after_mm) text += ", " + mm(*f.throat_after_mm) + " behind";
  }
  if (text.empty() && reason.empty()) return "";
  return "  (" + reason + (text.empty() || reason.empty() ? "" : "; ") + text + ")";
}

// A stick with abrasive on both sides does not go into less (common practice, no source).
constexpr double kStick_mm = 2.0;

// Edges that cannot be sanded in place.
std::string narrow_gaps(const seams::FitDocument& fit) {
  std::set<std::string> named;
  std::string list;
  for (const seams::Correction& c : fit.corrections) {
    if (c.action == seams::Correction::Action::move) continue;
    for (const seams::FitSeam& s : fit.seams) {
      const bool own = (s.tiles[0] == c.tile && s.tiles[1] == c.facing) ||
                       (s.tiles[1] == c.tile && s.tiles[0] == c.facing);
      if (!own || !s.narrowest_mm || *s.narrowest_mm >= kStick_mm) continue;
      if (!named.insert(c.tile + "/" + c.facing).second) continue;
      list += (list.empty() ? "" : ", ") + c.tile + " at " + c.facing + " " + mm(*s.narrowest_mm);
    }
  }
  if (list.empty()) return "";
  return "No stick goes into so narrow a gap: " + list +
         ". Run a blade with abrasive through, or pop the piece off and work it on the bench.\n";
}

}  // namespace

std::string correction_words(const seams::Correction& correction) {
  switch (correction.action) {
    case seams::Correction::Action::move:
      return move_text(correction);
    case seams::Correction::Action::ease:
      return ease_text(correction);
    case seams::Correction::Action::sand:
      break;
  }
  return sand_text(correction);
}

std::vector<WorkStep> work_steps(const seams::FitDocument& fit) {
  std::vector<WorkStep> out;
  for (std::size_t i = 0; i < fit.corrections.size(); ++i) {
    const seams::Correction& c = fit.corrections[i];
    const auto step = std::find_if(out.begin(), out.end(), [&](const WorkStep& s) {
      const seams::Correction& first = fit.corrections[s.front()];
      return c.action != seams::Correction::Action::move && first.action != seams::Correction::Action::move &&
             first.tile == c.tile && first.facing == c.facing;
    });
    if (step == out.end()) {
      out.push_back({i});
    } else {
      step->push_back(i);
    }
  }
  return out;
}

std::string step_words(const seams::FitDocument& fit, const WorkStep& step) {
  std::string out = correction_words(fit.corrections[step.front()]);
  for (std::size_t k = 1; k < step.size(); ++k)
    out += (k == 1 ? "; there too " : ", and ") + further_words(fit.corrections[step[k]]);
  return out;
}

std::vector<seams::Correction::Freed> freed_by_step(const seams::FitDocument& fit, const WorkStep& step) {
  std::vector<seams::Correction::Freed> out;
  for (const std::size_t i : step) {
    for (const seams::Correction::Freed& f : fit.corrections[i].frees) {
      if (std::none_of(out.begin(), out.end(), [&](const auto& o) { return same_seam(o.tiles, f.tiles); }))
        out.push_back(f);
    }
  }
  return out;
}

std::string step_reason(const seams::FitDocument& fit, const WorkStep& step) {
  std::string out;
  for (const seams::Correction::Freed& f : freed_by_step(fit, step)) {
    const auto seam = std::find_if(fit.seams.begin(), fit.seams.end(),
                                   [&](const seams::FitSeam& s) { return same_seam(s.tiles, f.tiles); });
    if (seam == fit.seams.end() || !seam->narrowest_mm) continue;
    out += (out.empty() ? "because " : ", ") + f.tiles[0] + "-" + f.tiles[1];
    if (seam->verdict == seams::Verdict::clear) {
      out += " would become too narrow without it";
      continue;
    }
    const auto throat = seams::deciding_throat(*seam);
    out += " is " + mm(throat ? throat->mm : *seam->narrowest_mm) +
           (throat ? " wide behind its mouth" : " wide");
    if (seam->verdict == seams::Verdict::doubtful) out += ", doubtful";
  }
  return out;
}

std::string work_order(const seams::FitDocument& fit) {
  std::string out;
  bool moves = false, sanding = false, easing = false;
  for (const seams::Correction& c : fit.corrections) {
    const bool move = c.action == seams::Correction::Action::move;
    (move ? moves : c.action == seams::Correction::Action::ease ? easing : sanding) = true;
  }
  const std::vector<WorkStep> steps = work_steps(fit);
  for (std::size_t i = 0; i < steps.size(); ++i)
    out += fmt::format("{:3.0f}  ", static_cast<double>(i + 1)) + step_words(fit, steps[i]) +
           freed_text(fit, steps[i]) + "\n";
  for (const std::string& line : fit.corrections_refused) out += "  -  " + line + "\n";
  if (moves)
    out += "Along the ring as seen from above, turns as seen from outside; each piece keeps its tilt.\n";
  if (sanding) out += "Sand square to the edge with the bevel kept, running out over 3 mm at both ends.\n";
  if (easing) {
    out +=
        "Easing tilts the table or the block so that more comes off towards the back of the wall; it runs "
        "out over "
        "3 mm at both ends.\n";
  }
  out += narrow_gaps(fit);
  if (sanding || easing)
    out += "Wood dust harms: mask and extraction, and what the data sheets say of glue on the edges.\n";
  return out;
}

std::vector<seams::Correction> parse_corrections(const std::string& json_text, const std::string& file) {
  const nlohmann::json given = core::parse_json(json_text, file);
  const nlohmann::json* list = &given;
  if (given.is_object()) {
    if (!given.contains("corrections")) core::JsonNode(given, file).fail("has no \"corrections\"");
    list = &given.at("corrections");
  }
  // Read by the reader of fit files, so that there is one notation and one set of messages.
  nlohmann::json document = {{"format", "interstice-fit"},
                             {"version", 1},
                             {"smallest_fill_mm", 3.0},
                             {"tiles", nlohmann::json::array()},
                             {"seams", nlohmann::json::array()},
                             {"quality", nlohmann::json::object()},
                             {"corrections", *list}};
  for (const char* key :
       {"photos_given", "photos_used", "reprojection_rms_px", "pixel_footprint_mm", "scale_u95_percent"}) {
    document["quality"][key] = 0;
  }
  return seams::parse_fit(document.dump(), file).corrections;
}

}  // namespace interstice::rework
