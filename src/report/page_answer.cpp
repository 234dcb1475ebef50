// The answer in one sentence, and the work order.
#include <algorithm>
#include <cmath>

#include "core/counted.h"
#include "report/bench_list.h"
#include "report/markup.h"
#include "report/page_parts.h"
#include "report/work_drawing.h"
#include "rework/corrections.h"

namespace interstice::report {
namespace {

std::size_t seams_with(const seams::FitDocument& fit, seams::Verdict verdict) {
  return static_cast<std::size_t>(std::count_if(
      fit.seams.begin(), fit.seams.end(), [&](const seams::FitSeam& s) { return s.verdict == verdict; }));
}

// Pieces of rings that have been begun; rings above stand on the bench still.
std::vector<std::string> missing(const seams::FitDocument& fit, plan::TileState state) {
  int begun = 0;
  for (const seams::FitTile& t : fit.tiles) {
    if (t.state == plan::TileState::placed) begun = std::max(begun, t.ring);
  }
  std::vector<std::string> out;
  for (const seams::FitTile& t : fit.tiles) {
    if (t.state == state && t.ring <= begun) out.push_back(t.label);
  }
  return out;
}

std::string listed(const std::vector<std::string>& labels, std::size_t most) {
  std::string out;
  for (std::size_t i = 0; i < labels.size() && i < most; ++i) out += (i ? ", " : "") + named(labels[i]);
  if (labels.size() > most) out += " and " + std::to_string(labels.size() - most) + " more";
  return out;
}

std::string joined(const std::vector<std::string>& parts) {
  std::string out;
  for (std::size_t i = 0; i < parts.size(); ++i)
    out += (i == 0 ? "" : i + 1 == parts.size() ? " and " : ", ") + parts[i];
  return out;
}

std::vector<std::string> faults(const seams::FitDocument& fit) {
  std::vector<std::string> out;
  const auto add = [&](std::size_t n, const char* one, const char* many) {
    if (n > 0) out.push_back(core::counted(n, one, many));
  };
  add(seams_with(fit, seams::Verdict::too_tight), "seam is too tight", "seams are too tight");
  add(seams_with(fit, seams::Verdict::pinched), "is pinched behind its mouth",
      "are pinched behind their mouths");
  add(seams_with(fit, seams::Verdict::doubtful), "is doubtful", "are doubtful");
  add(seams_with(fit, seams::Verdict::unseen), "is unseen", "are unseen");
  add(missing(fit, plan::TileState::absent).size(), "piece is missing", "pieces are missing");
  add(missing(fit, plan::TileState::unseen).size(), "piece is unseen", "pieces are unseen");
  return out;
}

std::string wall_words(const seams::FitDocument& fit) {
  if (!fit.finished_wall) return "the whole wood";
  return "the wood that turning leaves, " + length_html(fit.finished_wall->from_mm, 1) + " to " +
         length_html(fit.finished_wall->to_mm, 1) + " below the face";
}

std::string next_thing(const PageInput& input, bool ready, bool rings_ready) {
  const seams::FitDocument& fit = input.fit;
  if (ready) return "Next: tape the seams and make pour 1 below.";
  if (!fit.corrections.empty())
    return "Next: " + prose(rework::step_words(fit, rework::work_steps(fit).front())) +
           ", then on down the list.";
  const auto absent = missing(fit, plan::TileState::absent), unseen = missing(fit, plan::TileState::unseen);
  if (!absent.empty()) return "Next: glue on " + listed(absent, 8) + ".";
  if (!unseen.empty()) return "Next: photograph " + listed(unseen, 8) + " again.";
  for (const seams::FitSeam& s : fit.seams) {
    if (s.verdict == seams::Verdict::clear) continue;
    if (!s.advice.empty()) return "Next: " + prose(s.advice.front()) + " (seam " + seam_named(s.tiles) + ").";
  }
  if (seams_needing_work(fit).empty() && rings_ready)
    return "Next: glue on the next ring, or pour what is on.";
  const auto flagged = seams_needing_work(fit);
  if (!flagged.empty()) return "Next: look at seam " + seam_named(fit.seams[flagged.front()].tiles) + ".";
  return "Next: see the pour page for what is left.";
}

std::string freed(const seams::FitDocument& fit, const rework::WorkStep& step) {
  std::string out;
  for (const seams::Correction::Freed& f : rework::freed_by_step(fit, step)) {
    out += (out.empty() ? "" : ", ") + seam_named(f.tiles) + " " + length_html(f.width_after_mm, 1);
    if (f.throat_after_mm) out += " (" + length_html(*f.throat_after_mm, 1) + " behind the mouth)";
  }
  return out.empty() ? out : "<span class=\"then\">then " + out + "</span>";
}

std::string reason(const seams::FitDocument& fit, const rework::WorkStep& step) {
  const std::string words = rework::step_reason(fit, step);
  return words.empty() ? words : "<span class=\"then\">" + prose(words) + "</span>";
}

// The first of its own seams that a step frees, to be shown.
std::string look_link(const seams::FitDocument& fit, const rework::WorkStep& step) {
  const std::string& tile = fit.corrections[step.front()].tile;
  const auto frees = rework::freed_by_step(fit, step);
  for (std::size_t s = 0; s < fit.seams.size(); ++s) {
    const bool of_piece = fit.seams[s].tiles[0] == tile || fit.seams[s].tiles[1] == tile;
    const bool freed =
        std::any_of(frees.begin(), frees.end(), [&](const auto& f) { return f.tiles == fit.seams[s].tiles; });
    if (!of_piece || !freed) continue;
    return "<a class=\"look\" href=\"#" + seam_id(s) + "\" data-seam=\"" + std::to_string(s) +
           "\" aria-label=\"Show seam " + seam_spoken(fit.seams[s].tiles) + "\">show</a>";
  }
  return "";
}

std::string step_item(const seams::FitDocument& fit, const rework::WorkStep& step) {
  const std::string id = "step-" + std::to_string(step.front());
  std::string words = rework::step_words(fit, step);
  if (!words.empty()) words[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(words[0])));
  return "<li><label class=\"step\" for=\"" + id + "\"><input type=\"checkbox\" id=\"" + id + "\"><span>" +
         prose(words) + reason(fit, step) + freed(fit, step) + "</span></label>" + work_drawing(fit, step) +
         look_link(fit, step) + "</li>";
}

std::string steps(const seams::FitDocument& fit) {
  std::string out, piece;
  for (const rework::WorkStep& step : rework::work_steps(fit)) {
    const std::string& tile = fit.corrections[step.front()].tile;
    if (out.empty() || tile != piece)
      out += (out.empty() ? "" : "</ol></li>") + std::string("<li class=\"piece\"><h3>Piece ") + named(tile) +
             "</h3><ol>";
    piece = tile;
    out += step_item(fit, step);
  }
  return out.empty() ? out : "<ol class=\"work\">" + out + "</ol></li></ol>";
}

}  // namespace

std::string answer_part(const PageInput& input) {
  const seams::FitDocument& fit = input.fit;
  const bool ready = input.pour ? input.pour->ready : all_clear(fit);
  const bool rings_ready = !ready && input.pour && input.pour->ready_for_rings_on;
  const std::vector<std::string> wrong = faults(fit);
  std::string out = "<section id=\"answer\" class=\"" + std::string(ready ? "ready" : "not-ready") +
                    "\" aria-labelledby=\"answer-head\"><h2 id=\"answer-head\">";
  if (ready)
    out += "Ready to pour.";
  else if (rings_ready)
    out += "What is on is good; the shell is not complete yet.";
  else
    out += "Not ready to pour" + (wrong.empty() ? std::string(".") : ": " + joined(wrong) + ".");
  out += "</h2><p class=\"next\">" + next_thing(input, ready, rings_ready) + "</p>";
  for (const std::string& warning : fit.warnings)
    out += "<p class=\"next\">Check first: " + prose(warning) + ".</p>";
  const auto placed = std::count_if(fit.tiles.begin(), fit.tiles.end(), [](const seams::FitTile& t) {
    return t.state == plan::TileState::placed;
  });
  out += "<p class=\"sum\">" + std::to_string(placed) + " of " + std::to_string(fit.tiles.size()) +
         " pieces on, " + core::counted(fit.seams.size(), "seam") + " measured, " +
         std::to_string(seams_with(fit, seams::Verdict::clear)) +
         " of them clear. A seam counts as clear when it is proved to be at least " +
         length_html(fit.smallest_fill_mm, 2) + " wide from its mouth down through " + wall_words(fit) +
         ".</p>";
  if (input.pour && !ready) {
    out += "<ul class=\"reasons\">";
    for (const std::string& reason : input.pour->reasons) out += "<li>" + prose(reason) + "</li>";
    out += "</ul>";
  }
  return out + "</section>\n";
}

std::string work_part(const PageInput& input) {
  const seams::FitDocument& fit = input.fit;
  std::string out = "<section id=\"work\" aria-labelledby=\"work-head\"><h2 id=\"work-head\">Work order</h2>";
  if (fit.corrections.empty()) {
    out += seams_needing_work(fit).empty() ? "<p>No piece needs sanding or moving.</p>"
                                           : "<p>No sanding or moving is proposed; see the seams below.</p>";
  } else {
    out +=
        "<p>Most valuable first, piece by piece. Tick what is done; <span id=\"kept\">the page remembers it "
        "on this "
        "device</span>. "
        "<span id=\"progress\" role=\"status\"></span></p>" +
        steps(fit);
    out +=
        "<p class=\"note\">Along the ring as seen from above; turns as seen from outside; each piece keeps "
        "its tilt. Sand "
        "square to the edge with the bevel kept, running out over " +
        length_html(3, 0) +
        " at both ends. In a drawing the piece is seen from outside, foot upwards; the thick line is the "
        "edge to "
        "sand (broken: to ease), the dot the end to begin from. Wood dust harms: extraction and a mask. Then "
        "photograph again: the page knows only "
        "what was "
        "measured.</p>";
  }
  if (!fit.corrections_refused.empty()) {
    out += "<h3>What no small move or sanding can do</h3><ul>";
    for (const std::string& line : fit.corrections_refused) out += "<li>" + prose(line) + "</li>";
    out += "</ul>";
  }
  const auto absent = missing(fit, plan::TileState::absent), unseen = missing(fit, plan::TileState::unseen);
  if (!absent.empty()) out += "<p><strong>Missing pieces:</strong> " + listed(absent, 200) + "</p>";
  if (!unseen.empty()) out += "<p><strong>Pieces no photo shows:</strong> " + listed(unseen, 200) + "</p>";
  return out + "</section>\n";
}

}  // namespace interstice::report
