#include "app/learn_fill.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "core/counted.h"
#include "refill/kept_outcomes.h"

namespace interstice::app {

LearntFill learn_fill(const archive::Archive& archive) {
  std::vector<archive::Entry> entries = archive.list({.stage = archive::PieceStage::poured});
  std::sort(entries.begin(), entries.end(), [](const archive::Entry& a, const archive::Entry& b) {
    return a.date != b.date ? a.date < b.date : a.id < b.id;
  });
  LearntFill out;
  std::set<std::string> pieces;
  std::set<std::pair<std::string, refill::TilePair>> known;
  std::vector<refill::SeamOutcome> outcomes;
  for (const archive::Entry& e : entries) {
    const std::filesystem::path kept = archive.bag(e.id) / "data" / "refill.json";
    std::error_code ec;
    if (!std::filesystem::exists(kept, ec)) continue;
    for (const refill::KeptOutcome& seam : refill::read_outcomes(kept)) {
      if (known.insert({e.name, seam.tiles}).second) outcomes.push_back(seam.outcome);
    }
    pieces.insert(e.name);
  }
  out.pieces = pieces.size();
  out.seams = outcomes.size();
  if (outcomes.empty()) return out;
  out.limit = refill::fit_limit(outcomes, out.why);
  if (!out.limit) return out;
  out.proposed_mm = std::ceil(10 * out.limit->high_mm - 1e-9) / 10;
  for (const refill::SeamOutcome& s : outcomes) {
    if (s.width_mm < out.proposed_mm) continue;
    ++out.as_wide;
    out.as_wide_filled += s.filled ? 1 : 0;
  }
  return out;
}

std::string learnt_fill_words(const LearntFill& l) {
  if (l.seams == 0) return "";
  const std::string from = core::counted(l.seams, "seam") + " of " + core::counted(l.pieces, "poured piece");
  if (!l.limit) return "Your own smallest fill, from " + from + ": " + l.why + ".\n";
  return fmt::format(
      "Your own smallest fill, from {}: half filled at {:.2f} mm ({:.2f} to {:.2f}, 95 %).\n"
      "Proposed for the next plan: --smallest-fill {:.1f}; {} of {} so wide filled.\n",
      from, l.limit->width_mm, l.limit->low_mm, l.limit->high_mm, l.proposed_mm, l.as_wide_filled,
      core::counted(l.as_wide, "kept seam"));
}

nlohmann::ordered_json learnt_fill_json(const LearntFill& l) {
  if (l.seams == 0) return nullptr;
  nlohmann::ordered_json out = {{"pieces", l.pieces}, {"seams", l.seams}};
  if (!l.limit) {
    out["words"] = l.why;
    return out;
  }
  const auto rounded = [](double x) { return std::round(x * 1e4) / 1e4; };
  out["width_mm"] = rounded(l.limit->width_mm);
  out["low_mm"] = rounded(l.limit->low_mm);
  out["high_mm"] = rounded(l.limit->high_mm);
  out["proposed_smallest_fill_mm"] = rounded(l.proposed_mm);
  out["as_wide"] = l.as_wide;
  out["as_wide_filled"] = l.as_wide_filled;
  return out;
}

}  // namespace interstice::app
