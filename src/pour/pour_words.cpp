#include "pour/pour_words.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "core/counted.h"
#include "pour/coverage.h"
#include "pour/pour_parts.h"

namespace interstice::pour {
namespace {

std::string fixed(double x, int decimals) {
  return fmt::format("{:.{}f}", x, decimals);
}

std::string seam(const TilePair& p) {
  return p[0] + "/" + p[1];
}

// One entry, broken between words; further lines go in by four more than the first.
void add(std::string& out, const std::string& text) {
  constexpr std::size_t kLine = 100;
  const std::size_t indent = text.find_first_not_of(' ');
  const std::string further(indent == std::string::npos ? 0 : indent + 4, ' ');
  std::string line = text;
  while (line.size() > kLine) {
    const std::size_t space = line.rfind(' ', kLine);
    if (space == std::string::npos || space < further.size() + 1) break;
    out += line.substr(0, space) + "\n";
    line = further + line.substr(space + 1);
  }
  out += line + "\n";
}

// "84 mm", and where the uncertainty of the widths decides, "84 mm (60 to 120)".
std::string length_words(const StrandedPlace& p) {
  std::string out = fixed(p.length_mm, 0) + " mm";
  const long low = std::lround(p.length_low_mm), high = std::lround(p.length_high_mm);
  if (high - low > 1) out += " (" + std::to_string(low) + " to " + std::to_string(high) + ")";
  return out;
}

void add_stranded(const PourDocument& d, std::string& out) {
  constexpr std::size_t kShown = 20;
  if (d.stranded.empty()) return;
  add(out, "");
  add(out, "Where resin does not get (a seam narrower than " + fixed(d.smallest_fill_mm, 1) +
               " mm, and what lies behind it; in brackets what the uncertainty of the widths allows):");
  for (std::size_t i = 0; i < d.stranded.size() && i < kShown; ++i) {
    const StrandedPlace& p = d.stranded[i];
    std::string line = "  " + seam(p.behind) + "  " + fixed(p.width_mm, 2) + " mm: " + length_words(p) +
                       ", " + fixed(p.volume_ml, 1) + " ml";
    if (p.freed_length_mm > p.own_length_mm + 0.5)
      line += "; opening it frees " + fixed(p.freed_length_mm, 0) + " mm";
    if (p.before > 0)
      line += " once " + std::to_string(p.before) + " before it " + (p.before == 1 ? "is" : "are") + " open";
    if (p.certainty == Certainty::doubtful) line += " (if the doubtful width proves too tight)";
    if (p.certainty == Certainty::unseen) line += " (if it is too tight: it was not seen)";
    add(out, line);
  }
  if (d.stranded.size() > kShown)
    add(out, "  and " + std::to_string(d.stranded.size() - kShown) + " more in the file");
}

void add_narrow_behind(const PourDocument& d, std::string& out) {
  constexpr std::size_t kShown = 20;
  if (d.narrow_behind.empty()) return;
  add(out, "");
  add(out, "Where resin runs along the mouth but does not get down (narrower than " +
               fixed(d.smallest_fill_mm, 1) + " mm behind it):");
  for (std::size_t i = 0; i < d.narrow_behind.size() && i < kShown; ++i) {
    const NarrowBehind& n = d.narrow_behind[i];
    std::string line = "  " + seam(n.tiles) + "  " + fixed(n.throat_mm, 2) + " mm +- " +
                       fixed(n.throat_u95_mm, 2) + " behind a mouth of " + fixed(n.mouth_mm, 2);
    if (n.volume_ml >= 0.05)
      line += ": " + fixed(n.length_mm, 0) + " mm, " + fixed(n.volume_ml, 1) + " ml stay empty";
    if (!n.proved) line += " (doubtful)";
    add(out, line);
  }
  if (d.narrow_behind.size() > kShown)
    add(out, "  and " + std::to_string(d.narrow_behind.size() - kShown) + " more in the file");
}

void add_pours(const PourDocument& d, std::string& out) {
  if (d.pours.empty()) return;
  add(out, "");
  add(out, d.ready ? "How to pour:" : "How to pour what can be reached now:");
  for (const PourReport& p : d.pours) add(out, "  " + p.words);
  add(out, "  Air left after the last pour: about " + fixed(d.trapped_ml_after, 1) + " ml.");
}

}  // namespace

std::string words_for_tilt(double tilt_deg, const std::string& up, const std::optional<double>& prop_mm) {
  const std::string degrees = std::to_string(std::lround(tilt_deg)) + " degrees";
  if (tilt_deg < 0.5) return "stand it upright, rim down";
  if (tilt_deg > 179.5) return "turn it over, rim up";
  if (std::abs(tilt_deg - 90) < 0.5) return "lay it on its side so that " + up + " is up, 90 degrees";
  if (tilt_deg > 90) return "lean it over past its side so that " + up + " is up, " + degrees;
  std::string out = "lean it so that " + up + " is up, " + degrees;
  if (prop_mm) out += " (props " + fixed(*prop_mm, 0) + " mm high under the rim at " + up + ")";
  return out;
}

namespace {

// "231 ml, 254 g: A 154 ml and B 77 ml, or A 175 g and B 79 g"
std::string mix_words(const PourReport& p) {
  std::string out = fixed(p.mix_ml, 0) + " ml";
  if (p.mix_g) out += ", " + fixed(*p.mix_g, 0) + " g";
  const auto parts = [](const std::array<double, 2>& x, const char* unit) {
    return "A " + fixed(x[0], 0) + unit + " and B " + fixed(x[1], 0) + unit;
  };
  if (p.parts_ml) out += ": " + parts(*p.parts_ml, " ml");
  if (p.parts_g) out += (p.parts_ml ? ", or " : ": ") + parts(*p.parts_g, " g");
  if (p.creep_ml >= 0.5)
    out += "; " + fixed(p.creep_ml, 0) +
           " ml of it for what may creep into seams too narrow to fill and along the rim";
  return out;
}

// "B03/C05, 12 mm from its end at the rim"
std::string place(const TilePair& tiles, const std::optional<seams::SeamPlace>& along) {
  return seam(tiles) + (along ? ", " + seams::place_words(*along) : "");
}

std::string prick_words(const PourReport& p) {
  constexpr std::size_t kShown = 8;
  if (p.pricks.empty()) return "";
  std::string out = " While it stands, prick the tape here until resin shows, then close the hole: ";
  for (std::size_t i = 0; i < p.pricks.size() && i < kShown; ++i) {
    const PrickPlace& k = p.pricks[i];
    out += (i > 0 ? "; " : "") + place(k.seam, k.place) + " (" +
           (k.volume_ml > 0 ? fixed(k.volume_ml, 1) + " ml of air"
                            : "lower end of " + fixed(k.length_mm, 0) + " mm") +
           ")";
  }
  if (p.pricks.size() > kShown)
    out += "; and " + core::counted(p.pricks.size() - kShown, "place") + " more, listed in the file";
  return out + ".";
}

// When to go on.
std::string set_words(const PourReport& p) {
  if (!p.set_h) return "When that has set (hours: see the data sheet)";
  const bool whole = std::abs(*p.set_h - std::round(*p.set_h)) < 0.05;
  return "When that has set (" + fixed(*p.set_h, whole ? 0 : 1) + " h by the data sheet)";
}

}  // namespace

std::string words_for_pour(const PourDocument& d, std::size_t index) {
  const PourReport& p = d.pours[index];
  std::string out = std::to_string(index + 1) + ". ";
  if (p.lift > 1) {
    out += set_words(p) + ", in the same position, pour the next " + fixed(p.volume_ml, 1) + " ml";
  } else {
    std::string tilt = words_for_tilt(p.tilt_deg, p.up, p.prop_mm);
    if (index > 0) tilt = set_words(p) + ", " + tilt;
    tilt[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(tilt[0])));
    out += tilt + ". Tape " + core::counted(p.tape.size(), "seam") + " on the outside";
    if (!p.dam.empty()) out += " and close " + core::counted(p.dam.size(), "open end");
    if (!p.inlets.empty()) {
      const InletReport& inlet = p.inlets.front();
      out += std::string(", all but the ") + (inlet.end ? "open end of " + seam(inlet.seam)
                                                        : "highest bit of " + place(inlet.seam, inlet.place));
      if (p.inlets.size() > 1) {
        std::vector<TilePair> others;
        for (std::size_t k = 1; k < p.inlets.size(); ++k) {
          if (std::find(others.begin(), others.end(), p.inlets[k].seam) == others.end())
            others.push_back(p.inlets[k].seam);
        }
        out += " (and, for stretches not joined to it, a bit of " + joined(others, 6) + ")";
      }
    }
    if (!p.vents.empty()) {
      std::vector<TilePair> vents;
      for (const InletReport& v : p.vents) vents.push_back(v.seam);
      out += "; leave the ends of " + joined(vents, 6) + " open until resin shows, then close them";
    }
    out += ". Pour " + fixed(p.volume_ml, 1) + " ml";
  }
  out += " (mix " + mix_words(p) + "); it stands " + fixed(p.deepest_mm, 0) + " mm deep.";
  if (p.lift == 1 && p.lifts > 1) {
    out += " This is step 1 of " + std::to_string(p.lifts) +
           " in this position, for the resin's greatest depth.";
  }
  if (p.time_limited_length_mm > 0.5) {
    out += " Time is the limit here, not width: resin thickens before it has passed " +
           fixed(p.time_limited_length_mm, 0) + " mm of seam that is wide enough.";
  }
  if (p.counterflow_length_mm > 0.5 && !p.pricks.empty())
    out += " In " + fixed(p.counterflow_length_mm, 0) + " mm of dead ends bubbles may lock.";
  return out + prick_words(p);
}

std::vector<std::string> cautions() {
  return {
      "Resin and its hardener can make the skin allergic for life: wear gloves the data sheet names (thin "
      "latex "
      "protects poorly), cover the arms, wash with soap, never with solvent.",
      "Curing makes heat, more in a deep pour or a full cup, up to smoke and fire: keep to the data sheet's "
      "depth and "
      "amount, never leave a mixed cup standing.",
      "Air the room and follow the data sheet on breathing protection, for pouring and for curing.",
      "Dust of wood and of cured resin harms the lungs, some woods cause cancer: extract it and wear a mask; "
      "let "
      "resin cure fully before sanding or turning.",
      "The resin's data sheet and the local rules come first; this list does not replace them."};
}

const char* name_of(Certainty certainty) {
  switch (certainty) {
    case Certainty::measured:
      return "measured";
    case Certainty::doubtful:
      return "doubtful";
    case Certainty::unseen:
      return "unseen";
  }
  return "";
}

const char* name_of(BuildLimit limit) {
  switch (limit) {
    case BuildLimit::none:
      return "none";
    case BuildLimit::width:
      return "width";
    case BuildLimit::resin:
      return "resin";
  }
  return "";
}

double freed_length_mm(const PourDocument& pour, const std::string& a, const std::string& b) {
  for (const StrandedPlace& p : pour.stranded) {
    if ((p.behind[0] == a && p.behind[1] == b) || (p.behind[0] == b && p.behind[1] == a))
      return p.freed_length_mm;
  }
  return 0;
}

std::string pour_words(const PourDocument& d) {
  std::string out;
  add(out, (d.name.empty() ? std::string() : d.name + ": ") +
               (d.ready ? "ready to pour." : "not ready to pour yet."));
  for (const std::string& reason : d.reasons) add(out, "  - " + reason);
  if (!d.ready && d.ready_for_rings_on) add(out, "  The rings that are on could be poured as they are.");
  add(out, "");
  add(out, "Voids to fill: " + fixed(d.void_volume_ml, 1) + " ml (seams " + fixed(d.seams_ml, 1) +
               ", of that " + fixed(d.junctions_ml, 1) + " at junctions; under the pieces " +
               fixed(d.under_pieces_ml, 1) + "; along the rim " + fixed(d.rim_ml, 1) + "), " +
               fixed(d.seam_length_mm, 0) + " mm of seam.");
  add_stranded(d, out);
  add_narrow_behind(d, out);
  add_pours(d, out);
  if (!d.build.words.empty()) {
    add(out, "");
    add(out, "Building: " + d.build.words);
  }
  if (!d.warnings.empty()) {
    add(out, "");
    add(out, "Mind:");
    for (const std::string& w : d.warnings) add(out, "  - " + w);
  }
  add(out, "");
  add(out, "Take care:");
  for (const std::string& c : d.cautions) add(out, "  - " + c);
  return out;
}

}  // namespace interstice::pour
