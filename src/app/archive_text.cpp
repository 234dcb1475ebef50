#include "app/archive_text.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdarg>
#include <cstdio>

#include "archive/names.h"
#include "core/counted.h"

namespace interstice::app::archive_text {
namespace {

// Without the minus sign of what rounds to nothing.
double shown(double mm) {
  return std::abs(mm) < 0.005 ? 0.0 : mm;
}

// Rows of cells in columns as wide as they need; the last one is not padded.
std::string table(const std::vector<std::vector<std::string>>& rows) {
  std::vector<std::size_t> widths;
  for (const auto& row : rows) {
    widths.resize(std::max(widths.size(), row.size()));
    for (std::size_t i = 0; i < row.size(); ++i)
      widths[i] = std::max(widths[i], archive::display_width(row[i]));
  }
  std::string out;
  for (const auto& row : rows) {
    std::string line;
    for (std::size_t i = 0; i < row.size(); ++i) {
      line += row[i];
      if (i + 1 < row.size()) line += std::string(widths[i] - archive::display_width(row[i]) + 2, ' ');
    }
    line.erase(line.find_last_not_of(' ') + 1);
    out += line + "\n";
  }
  return out;
}

std::string width_mm(const std::optional<double>& mm) {
  return mm ? fmt::format("{:.2f} mm", *mm) : "-";
}

Json number(const std::optional<double>& x) {
  return x ? Json(std::round(*x * 1e4) / 1e4) : Json(nullptr);
}
Json number(double x) {
  return number(std::optional<double>(x));
}

Json summary_json(const archive::Entry& e) {
  return {{"entry", e.id},
          {"name", e.name},
          {"date", e.date},
          {"stage", name_of(e.stage)},
          {"ring", e.ring},
          {"wood", e.wood},
          {"smallest_mm", number(e.smallest_mm)},
          {"smallest_u95_mm", number(e.smallest_u95_mm)},
          {"smallest_fill_mm", number(e.smallest_fill_mm)},
          {"planned_gap_mm", number(e.planned_gap_mm)},
          {"pieces", e.pieces},
          {"seams",
           {{"too tight", e.too_tight},
            {"pinched", e.pinched},
            {"doubtful", e.doubtful},
            {"clear", e.clear},
            {"unseen", e.unseen}}},
          {"files", e.payload_files},
          {"bytes", e.payload_bytes}};
}

std::string seam_name(const std::array<std::string, 2>& tiles) {
  return tiles[0] + "-" + tiles[1];
}

std::string moved_text(const archive::Comparison& c) {
  std::vector<const archive::PieceDifference*> moved;
  for (const archive::PieceDifference& p : c.pieces) {
    if (p.moved) moved.push_back(&p);
  }
  if (moved.empty()) return "No piece moved by more than its uncertainty.\n";
  std::sort(moved.begin(), moved.end(),
            [](const archive::PieceDifference* a, const archive::PieceDifference* b) {
              return a->shift.moved_mm.norm() > b->shift.moved_mm.norm();
            });
  std::vector<std::vector<std::string>> rows{
      {"moved", "along the ring", "towards the pole", "turned", "sure to"}};
  for (const archive::PieceDifference* p : moved) {
    rows.push_back({p->label, fmt::format("{:+.2f} mm", shown(p->shift.moved_mm.x())),
                    fmt::format("{:+.2f} mm", shown(p->shift.moved_mm.y())),
                    fmt::format("{:+.1f} deg", p->shift.turned_deg), fmt::format("{:.2f} mm", p->u95_mm)});
  }
  return table(rows);
}

std::string seams_text(const archive::Comparison& c) {
  std::vector<const archive::SeamChange*> changed;
  for (const archive::SeamChange& s : c.seams) {
    if (s.changed) changed.push_back(&s);
  }
  std::string out = fmt::format("{} of {} changed beyond their uncertainty", changed.size(),
                                core::counted(c.seams.size(), "seam"));
  if (c.by_chance > 0) out += fmt::format(" (about {} would by chance alone)", c.by_chance);
  out += changed.empty() ? ".\n" : ":\n";
  if (changed.empty()) return out;
  std::sort(changed.begin(), changed.end(), [](const archive::SeamChange* a, const archive::SeamChange* b) {
    return std::abs(a->change_mm()) > std::abs(b->change_mm());
  });
  std::vector<std::vector<std::string>> rows{{"seam", "before", "after", "change", ""}};
  for (const archive::SeamChange* s : changed) {
    rows.push_back(
        {seam_name(s->tiles), fmt::format("{:.2f} mm", s->before_mm), fmt::format("{:.2f} mm", s->after_mm),
         fmt::format("{:+.2f} +- {:.2f} mm", s->change_mm(), s->u95_mm), s->sure ? "" : "may be chance"});
  }
  return out + table(rows);
}

std::string came_in_text(const archive::Comparison& c) {
  if (c.came_in.empty()) return "";
  std::vector<std::vector<std::string>> rows{
      {"surface came in", "mean", "least", "most", "at", "thinnest left", "at"}};
  for (const archive::CameIn& r : c.came_in) {
    rows.push_back({r.ring == 0 ? "all" : fmt::format("ring {}", r.ring),
                    fmt::format("{:.2f} mm", shown(r.mean_mm)), fmt::format("{:.2f} mm", shown(r.least_mm)),
                    fmt::format("{:.2f} mm", shown(r.most_mm)), r.most_at,
                    fmt::format("{:.2f} mm", r.thinnest_left_mm), r.thinnest_at});
  }
  return table(rows);
}

std::string labels_text(const char* what, const std::vector<std::string>& labels) {
  if (labels.empty()) return "";
  std::string out = what;
  for (std::size_t i = 0; i < labels.size(); ++i) out += (i == 0 ? " " : ", ") + labels[i];
  return out + "\n";
}

Json spread_json(const archive::Spread& s) {
  return {{"where", s.where},
          {"seams", s.seams},
          {"mean_mm", number(s.mean_mm)},
          {"mean_95_mm", {number(s.mean_low_mm), number(s.mean_high_mm)}},
          {"sd_mm", number(s.sd_mm)},
          {"sd_95_mm", {number(s.sd_low_mm), number(s.sd_high_mm)}}};
}

}  // namespace

std::string size(std::uintmax_t bytes) {
  if (bytes < 1000) return std::to_string(bytes) + " B";
  if (bytes < 1000000) return fmt::format("{:.1f} kB", static_cast<double>(bytes) / 1e3);
  return fmt::format("{:.1f} MB", static_cast<double>(bytes) / 1e6);
}

std::string list(const std::vector<archive::Entry>& entries) {
  std::vector<std::vector<std::string>> rows{
      {"entry", "name", "ring", "stage", "wood", "narrowest", "too tight", "pinched"}};
  for (const archive::Entry& e : entries) {
    rows.push_back({e.id, e.name, std::to_string(e.ring), name_of(e.stage), e.wood.empty() ? "-" : e.wood,
                    width_mm(e.smallest_mm), std::to_string(e.too_tight), std::to_string(e.pinched)});
  }
  return entries.empty() ? "" : table(rows);
}

Json list_json(const std::vector<archive::Entry>& entries) {
  Json out = Json::array();
  for (const archive::Entry& e : entries) out.push_back(summary_json(e));
  return {{"entries", out}};
}

std::string entry(const archive::Entry& e, const std::string& folder) {
  std::string out =
      table({{"entry", e.id},
             {"name", e.name},
             {"date", e.date},
             {"stage", std::string(name_of(e.stage)) + ", ring " + std::to_string(e.ring)},
             {"wood", e.wood.empty() ? "-" : e.wood},
             {"pieces", std::to_string(e.pieces)},
             {"seams", fmt::format("{} too tight, {} pinched, {} doubtful, {} clear, {} unseen", e.too_tight,
                                   e.pinched, e.doubtful, e.clear, e.unseen)},
             {"narrowest", e.smallest_mm
                               ? fmt::format("{:.2f} +- {:.2f} mm (smallest fill {:.2f} mm)", *e.smallest_mm,
                                             e.smallest_u95_mm.value_or(0), e.smallest_fill_mm)
                               : "-"},
             {"planned gap", fmt::format("{:.2f} mm", e.planned_gap_mm)},
             {"folder", folder},
             {"payload", core::counted(e.payload_files, "file") + ", " + size(e.payload_bytes)}});
  for (const archive::KeptFile& f : e.files) out += "  " + f.path + "  " + size(f.bytes) + "\n";
  if (!e.notes.empty()) {
    out += "notes\n  ";
    std::string notes = e.notes.substr(0, e.notes.find_last_not_of("\r\n \t") + 1);
    std::erase(notes, '\r');  // lines of other systems
    for (const char c : core::escaped(notes, core::Lines::many))
      out += c == '\n' ? "\n  " : std::string(1, c);
    out += "\n";
  }
  return out;
}

Json entry_json(const archive::Entry& e, const std::string& folder) {
  Json out = summary_json(e);
  out["folder"] = folder;
  out["notes"] = e.notes;
  out["payload"] = Json::array();
  for (const archive::KeptFile& f : e.files)
    out["payload"].push_back({{"path", f.path}, {"bytes", f.bytes}, {"sha256", f.sha256}});
  out["seam_list"] = Json::array();
  for (const archive::KeptSeam& s : e.seams) {
    out["seam_list"].push_back({{"tiles", s.tiles},
                                {"verdict", name_of(s.verdict)},
                                {"narrowest_mm", number(s.narrowest_mm)},
                                {"u95_mm", number(s.u95_mm)},
                                {"planned_mm", number(s.planned_mm)}});
  }
  return out;
}

std::string comparison(const archive::Comparison& c, const archive::Entry& before,
                       const archive::Entry& after) {
  const archive::Alignment& a = c.alignment;
  std::string out = "before  " + before.id + "\nafter   " + after.id + "\n";
  out += fmt::format("Laid over each other by {} ({} agree to {:.2f} mm): turned {:.2f} deg about the axis",
                     core::counted(a.pieces, "piece"), a.agreeing, a.rms_mm, a.turn_deg);
  out += a.turn_only ? "; too few pieces for shift and tilt.\n"
                     : fmt::format(", shifted {:.2f} mm, tilted {:.2f} deg.\n", a.shift_mm, a.tilt_deg);
  out += labels_text("Placed only before:", c.only_before);
  out += labels_text("Placed only after:", c.only_after);
  return out + moved_text(c) + seams_text(c) + came_in_text(c);
}

Json comparison_json(const archive::Comparison& c, const archive::Entry& before,
                     const archive::Entry& after) {
  const archive::Alignment& a = c.alignment;
  Json out = {{"before", before.id},
              {"after", after.id},
              {"alignment",
               {{"pieces", a.pieces},
                {"agreeing", a.agreeing},
                {"rms_mm", number(a.rms_mm)},
                {"turn_deg", number(a.turn_deg)},
                {"shift_mm", number(a.shift_mm)},
                {"tilt_deg", number(a.tilt_deg)},
                {"turn_only", a.turn_only}}},
              {"only_before", c.only_before},
              {"only_after", c.only_after}};
  out["pieces"] = Json::array();
  for (const archive::PieceDifference& p : c.pieces) {
    out["pieces"].push_back({{"label", p.label},
                             {"moved_mm", {number(p.shift.moved_mm.x()), number(p.shift.moved_mm.y())}},
                             {"turned_deg", number(p.shift.turned_deg)},
                             {"u95_mm", number(p.u95_mm)},
                             {"moved", p.moved},
                             {"in_mm", number(p.shift.in_mm)},
                             {"left_mm", number(p.left_mm)}});
  }
  out["seams"] = Json::array();
  for (const archive::SeamChange& s : c.seams) {
    out["seams"].push_back({{"tiles", s.tiles},
                            {"before_mm", number(s.before_mm)},
                            {"after_mm", number(s.after_mm)},
                            {"u95_mm", number(s.u95_mm)},
                            {"changed", s.changed},
                            {"sure", s.sure}});
  }
  out["seams_by_chance"] = c.by_chance;
  out["came_in"] = Json::array();
  for (const archive::CameIn& r : c.came_in) {
    out["came_in"].push_back({{"ring", r.ring == 0 ? Json(nullptr) : Json(r.ring)},
                              {"pieces", r.pieces},
                              {"mean_mm", number(r.mean_mm)},
                              {"sd_mm", number(r.sd_mm)},
                              {"least_mm", number(r.least_mm)},
                              {"most_mm", number(r.most_mm)},
                              {"thinnest_left_mm", number(r.thinnest_left_mm)}});
  }
  return out;
}

std::string learned(const archive::Learned& l) {
  std::string out = core::counted(l.all.seams, "seam") + " of " + core::counted(l.bowls, "piece") +
                    ", as first built; built less planned, with 95 % intervals:\n";
  std::vector<std::vector<std::string>> rows{{"", "seams", "mean", "", "spread (sd)", ""}};
  const auto row = [&](const archive::Spread& s) {
    rows.push_back({s.where, std::to_string(s.seams), fmt::format("{:+.2f} mm", s.mean_mm),
                    fmt::format("({:+.2f} to {:+.2f})", s.mean_low_mm, s.mean_high_mm),
                    fmt::format("{:.2f} mm", s.sd_mm),
                    fmt::format("({:.2f} to {:.2f})", s.sd_low_mm, s.sd_high_mm)});
  };
  row(l.all);
  for (const archive::Spread& s : l.by_ring) row(s);
  out += table(rows);
  out += fmt::format("Of the spread, {:.2f} mm comes from measuring", l.measuring_sd_mm);
  out += l.bowls > 1 ? fmt::format("; pieces differ among themselves by {:.2f} mm (sd).\n", l.bowl_sd_mm)
                     : std::string("; how pieces differ among themselves a single one cannot tell.\n");
  out += fmt::format("Gap to plan for a smallest fill of {:.2f} mm:\n", l.smallest_fill_mm);
  std::vector<std::vector<std::string>> gaps{
      {"seams to fill", "gap to plan", "", "kept seams it would have served"}};
  for (const archive::GapAdvice& g : l.gaps) {
    gaps.push_back({fmt::format("{:.1f} %", 100 * g.share), fmt::format("{:.2f} mm", g.sure_mm),
                    fmt::format("with {:.0f} % confidence ({:.2f} mm taken at face value)",
                                100 * l.confidence, g.estimate_mm),
                    fmt::format("{:.1f} %", 100 * g.kept_share)});
  }
  return out + table(gaps);
}

Json learned_json(const archive::Learned& l) {
  Json out = {{"pieces", l.bowls},
              {"smallest_fill_mm", number(l.smallest_fill_mm)},
              {"confidence", l.confidence},
              {"all", spread_json(l.all)},
              {"by_ring", Json::array()},
              {"measuring_sd_mm", number(l.measuring_sd_mm)},
              {"between_pieces_sd_mm", l.bowls > 1 ? number(l.bowl_sd_mm) : Json(nullptr)},
              {"effective_seams", number(l.effective_seams)},
              {"gaps", Json::array()}};
  for (const archive::Spread& s : l.by_ring) out["by_ring"].push_back(spread_json(s));
  for (const archive::GapAdvice& g : l.gaps) {
    out["gaps"].push_back({{"share", g.share},
                           {"gap_mm", number(g.sure_mm)},
                           {"face_value_gap_mm", number(g.estimate_mm)},
                           {"factor", number(g.factor)},
                           {"kept_share", number(g.kept_share)}});
  }
  return out;
}

}  // namespace interstice::app::archive_text
