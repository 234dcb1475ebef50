#include "report/bench_list.h"

#include <fmt/core.h>

#include <algorithm>
#include <cstdarg>
#include <cstdio>
#include <set>

#include "core/counted.h"

namespace interstice::report {
namespace {

int urgency(seams::Verdict v) {
  switch (v) {
    case seams::Verdict::too_tight:
      return 0;
    case seams::Verdict::pinched:
      return 1;
    case seams::Verdict::doubtful:
      return 2;
    case seams::Verdict::unseen:
      return 3;
    case seams::Verdict::clear:
      break;
  }
  return 4;
}

// The width that the verdict rests on.
double deciding_mm(const seams::FitSeam& s) {
  const auto throat = seams::deciding_throat(s);
  return throat ? throat->mm : s.narrowest_mm.value_or(0);
}

std::string seam_line(const seams::FitSeam& s) {
  const std::string name = s.tiles[0] + " - " + s.tiles[1];
  if (!s.narrowest_mm) return fmt::format("{:<13}  unseen: no photo shows its edges well\n", name);
  std::string line = fmt::format("{:<13}  {:5.2f} mm +- {:.2f}  {}", name, *s.narrowest_mm, *s.u95_mm,
                                 seams::name_of(s.verdict));
  if (s.verdict == seams::Verdict::too_tight) {
    line += fmt::format(" over {:.0f} of {:.0f} mm", std::max(0.5, s.tight_length_mm), s.length_mm);
  }
  if (const auto throat = seams::deciding_throat(s)) {
    line += fmt::format(": {:.2f} mm +- {:.2f} wide behind the mouth", throat->mm,
                        core::expanded_mm(throat->u_mm));
    if (s.verdict == seams::Verdict::pinched && s.pinched_length_mm > 0)
      line += fmt::format(" over {:.0f} of {:.0f} mm", s.pinched_length_mm, s.length_mm);
  }
  if (!s.best_photo.empty()) line += "  (see " + s.best_photo + ")";
  return line + "\n";
}

int last_ring_begun(const seams::FitDocument& fit) {
  int begun = 0;
  for (const seams::FitTile& t : fit.tiles) {
    if (t.state == plan::TileState::placed) begun = std::max(begun, t.ring);
  }
  return begun;
}

// Rings of which nothing stands yet: no piece of them is missing.
std::string rings_to_come(const seams::FitDocument& fit) {
  const int begun = last_ring_begun(fit);
  std::set<int> rings;
  std::size_t pieces = 0;
  for (const seams::FitTile& t : fit.tiles) {
    if (t.ring > begun && t.state == plan::TileState::absent) rings.insert(t.ring), ++pieces;
  }
  if (rings.empty()) return "";
  std::string out = rings.size() == 1 ? "ring not begun:" : "rings not begun:";
  for (const int ring : rings) out += " " + std::to_string(ring);
  return out + " (" + core::counted(pieces, "piece") + ")\n";
}

std::string list_of(const seams::FitDocument& fit, plan::TileState state, const char* words) {
  std::string labels;
  const int begun = last_ring_begun(fit);
  for (const seams::FitTile& t : fit.tiles) {
    const bool to_come = state == plan::TileState::absent && t.ring > begun;
    if (t.state == state && !to_come) labels += (labels.empty() ? "" : " ") + t.label;
  }
  return labels.empty() ? "" : std::string(words) + labels + "\n";
}

// A text cell (RFC 4180). Spreadsheets take what begins with = + - @ for a formula, and work it out: an
// apostrophe before it makes it text.
std::string quoted(const std::string& text) {
  const bool formula = !text.empty() && std::string("=+-@\t\r").find(text.front()) != std::string::npos;
  const std::string field = formula ? "'" + text : text;
  if (field.find_first_of(",\"\r\n") == std::string::npos) return field;
  std::string out = "\"";
  for (const char c : field) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

}  // namespace

std::vector<std::size_t> seams_needing_work(const seams::FitDocument& fit) {
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < fit.seams.size(); ++i) {
    if (fit.seams[i].verdict != seams::Verdict::clear) order.push_back(i);
  }
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const seams::FitSeam &s = fit.seams[a], &t = fit.seams[b];
    if (urgency(s.verdict) != urgency(t.verdict)) return urgency(s.verdict) < urgency(t.verdict);
    return deciding_mm(s) < deciding_mm(t);
  });
  return order;
}

bool all_clear(const seams::FitDocument& fit) {
  return fit.warnings.empty() &&
         std::all_of(fit.seams.begin(), fit.seams.end(),
                     [](const seams::FitSeam& s) { return s.verdict == seams::Verdict::clear; }) &&
         std::all_of(fit.tiles.begin(), fit.tiles.end(),
                     [](const seams::FitTile& t) { return t.state == plan::TileState::placed; });
}

std::string bench_list(const seams::FitDocument& fit) {
  std::string out;
  for (const std::string& warning : fit.warnings) out += "warning: " + warning + "\n";
  for (const std::size_t i : seams_needing_work(fit)) {
    out += seam_line(fit.seams[i]);
    for (const std::string& advice : fit.seams[i].advice) out += "    " + advice + "\n";
  }
  out += list_of(fit, plan::TileState::absent, "absent pieces: ") + rings_to_come(fit);
  out += list_of(fit, plan::TileState::unseen, "unseen pieces: ");
  std::size_t count[5] = {0, 0, 0, 0, 0}, placed = 0;
  for (const seams::FitSeam& s : fit.seams) ++count[urgency(s.verdict)];
  for (const seams::FitTile& t : fit.tiles) placed += t.state == plan::TileState::placed ? 1 : 0;
  out += fmt::format(
      "{} of {} placed; {}: {} too tight, {} pinched, {} doubtful, {} unseen, {} clear (smallest "
      "fill {:.2f} mm)\n",
      placed, core::counted(fit.tiles.size(), "piece"), core::counted(fit.seams.size(), "seam"), count[0],
      count[1], count[2], count[3], count[4], fit.smallest_fill_mm);
  return out;
}

std::string seams_csv(const seams::FitDocument& fit) {
  std::string out =
      "piece,neighbour,narrowest_mm,u95_mm,verdict,length_mm,tight_length_mm,pinched_length_mm,throat_mm,"
      "throat_u95_mm,throat_from,doubt,map_u_mm,"
      "map_v_mm,"
      "best_photo\r\n";
  for (const seams::FitSeam& s : fit.seams) {
    const auto number = [](const std::optional<double>& x) {
      return x ? fmt::format("{:.3f}", *x) : std::string();
    };
    out += quoted(s.tiles[0]) + "," + quoted(s.tiles[1]) + "," + number(s.narrowest_mm) + "," +
           number(s.u95_mm) + "," + seams::name_of(s.verdict) + "," + number(s.length_mm) + "," +
           number(s.tight_length_mm) + "," + number(s.pinched_length_mm) + "," + number(s.throat_mm) + "," +
           number(s.throat_u95_mm) + "," + seams::name_of(s.throat_from) + "," +
           (s.doubt == seams::Doubt::none ? "" : seams::name_of(s.doubt)) + "," + number(s.map.x()) + "," +
           number(s.map.y()) + "," + quoted(s.best_photo) + "\r\n";
  }
  return out;
}

}  // namespace interstice::report
