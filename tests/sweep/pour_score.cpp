#include "sweep/pour_score.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "sweep/curves.h"

namespace interstice::sweep {

namespace {

using nlohmann::json;

constexpr double kCounted_mm2 = 6, kNear_mm = 3;
constexpr double kWidestScored_mm = 8, kShortestScored_mm = 5;
constexpr double kLeast_ml = 1e-3;  // of a range's lower end, for its width
// What is asked.
constexpr double kFound = 0.95, kFalse = 0.02, kQuarter = 0.25, kOpening = 0.80, kVolume = 0.95, kRange = 4;
constexpr double kOff_mm = 1.5, kFilled = 0.98;

double apart_mm(const json& a, const json& b) {
  return std::hypot(a["map"][0].get<double>() - b["map"][0].get<double>(),
                    a["map"][1].get<double>() - b["map"][1].get<double>());
}

std::string pair_of_tiles(const json& j) {
  std::vector<std::string> tiles = j["tiles"];
  std::sort(tiles.begin(), tiles.end());
  std::string out;
  for (const std::string& t : tiles) out += (out.empty() ? "" : "-") + t;
  return out;
}

bool is_bubble(const json& v) {
  return v.value("bubble", false);
}

bool near(const json& said, const json& hollow) {
  return apart_mm(said, hollow) <= std::max(kNear_mm, hollow["length_mm"].get<double>() / 2);
}

const json* nearest(const json& said, const json& hollow) {
  const json* best = nullptr;
  for (const json& h : said) {
    if (near(h, hollow) && (best == nullptr || apart_mm(h, hollow) < apart_mm(*best, hollow))) best = &h;
  }
  return best;
}

FoundHollow compared(const json& said, const json& hollow) {
  FoundHollow f;
  f.opening_ratio = said["opening_mm2"].get<double>() / hollow["opening_mm2"].get<double>();
  const double low = said["volume_ml"][0], high = said["volume_ml"][1], truth = hollow["volume_ml"];
  f.volume_inside = low <= truth && truth <= high;
  f.range_width = high / std::max(kLeast_ml, low);
  f.off_mm = apart_mm(said, hollow);
  f.mouth_mm = hollow["mouth_mm"];
  return f;
}

std::string shown(double value, const char* format) {
  return std::isfinite(value) ? fmt::format(fmt::runtime(format), value) : "-";
}

}  // namespace

PourScore scored(const std::string& refill_json, const std::string& truth_json) {
  const json refill = json::parse(refill_json), truth = json::parse(truth_json);
  const json& said = refill.at("hollows");
  PourScore out;
  std::map<std::string, std::string> state;
  for (const json& s : refill.at("seams")) state[pair_of_tiles(s)] = s["state"];
  std::set<std::string> passed_over;
  for (const json& v : truth.at("voids")) {
    const json* best = nearest(said, v);
    if (is_bubble(v)) {
      ++out.pits;
      out.pits_found += best != nullptr ? 1 : 0;
      continue;
    }
    if (v["opening_mm2"] < kCounted_mm2) continue;
    ++out.hollows;
    if (best != nullptr)
      out.found.push_back(compared(*best, v));
    else
      out.missed.push_back(pair_of_tiles(v));
    if (state[pair_of_tiles(v)] == "filled") passed_over.insert(pair_of_tiles(v));
  }
  out.hollow_called_filled.assign(passed_over.begin(), passed_over.end());
  for (const json& h : said) {
    ++out.reported;
    const json& voids = truth.at("voids");
    if (std::none_of(voids.begin(), voids.end(), [&](const json& v) { return near(h, v); }))
      out.false_ones.push_back(pair_of_tiles(h));
  }
  for (const json& s : truth.at("seams")) {
    if (s.value("poured", "") != "filled" || s["mouth_mm"] >= kWidestScored_mm ||
        s["length_mm"] < kShortestScored_mm)
      continue;
    ++out.filled;
    out.filled_called_filled += state[pair_of_tiles(s)] == "filled" ? 1 : 0;
  }
  return out;
}

PourFigures figures(const std::vector<PourScore>& runs) {
  PourFigures f;
  std::vector<double> openings, ranges, off;
  int inside = 0, quarter = 0, called = 0, found = 0;
  for (const PourScore& run : runs) {
    ++f.runs;
    f.failed_runs += run.exit_code > 1 ? 1 : 0;
    f.hollows += run.hollows;
    f.reported += run.reported;
    f.false_ones += static_cast<int>(run.false_ones.size());
    f.called_filled += static_cast<int>(run.hollow_called_filled.size());
    f.pits += run.pits;
    f.pits_found += run.pits_found;
    f.filled += run.filled;
    called += run.filled_called_filled;
    for (const FoundHollow& h : run.found) {
      ++found;
      openings.push_back(h.opening_ratio);
      ranges.push_back(h.range_width);
      off.push_back(h.off_mm);
      inside += h.volume_inside ? 1 : 0;
      quarter += std::abs(h.opening_ratio - 1) <= kQuarter ? 1 : 0;
    }
  }
  const auto share = [](int part, int whole) {
    return whole > 0 ? static_cast<double>(part) / whole : std::numeric_limits<double>::quiet_NaN();
  };
  f.found = share(found, f.hollows);
  f.opening_within_quarter = share(quarter, found);
  f.opening_median = quantile(openings, 0.5);
  f.volume_inside = share(inside, found);
  f.range_median = quantile(ranges, 0.5);
  f.off_median_mm = quantile(off, 0.5);
  f.filled_called_filled = share(called, f.filled);
  return f;
}

std::vector<std::string> shortfalls(const PourFigures& f) {
  std::vector<std::string> out;
  if (f.failed_runs > 0) out.emplace_back("refused");
  if (f.called_filled > 0) out.emplace_back("hollow called filled");
  if (f.found < kFound) out.emplace_back("found");
  if (f.false_ones > kFalse * f.reported) out.emplace_back("false");
  if (f.opening_within_quarter < kOpening) out.emplace_back("opening");
  if (f.volume_inside < kVolume) out.emplace_back("volume");
  if (f.range_median > kRange) out.emplace_back("range");
  if (f.off_median_mm > kOff_mm) out.emplace_back("place");
  if (f.filled_called_filled < kFilled) out.emplace_back("filled seams");
  return out;
}

std::string pour_table(std::vector<PourRow> rows) {
  std::stable_sort(rows.begin(), rows.end(), [](const PourRow& a, const PourRow& b) {
    const std::size_t m = shortfalls(a.figures).size(), n = shortfalls(b.figures).size();
    return m != n ? m > n : a.figures.found < b.figures.found;
  });
  std::string out =
      "| scene | found | in seams called filled | false | opening within 25 % | opening, median ratio | "
      "volume "
      "inside its range | range 1 : | off mm | filled called filled | bubbles found | falls short in |\n"
      "|---|---|---|---|---|---|---|---|---|---|---|---|\n";
  for (const PourRow& row : rows) {
    const PourFigures& f = row.figures;
    std::string list;
    for (const std::string& s : shortfalls(f)) list += (list.empty() ? "" : ", ") + s;
    out += fmt::format("| {} | {} of {} | {} | {} of {} | ", row.label,
                       std::isfinite(f.found) ? std::lround(f.found * f.hollows) : 0, f.hollows,
                       f.called_filled, f.false_ones, f.reported);
    out += shown(f.opening_within_quarter, "{:.2f}") + " | " + shown(f.opening_median, "{:.2f}") + " | " +
           shown(f.volume_inside, "{:.2f}") + " | " + shown(f.range_median, "{:.1f}") + " | " +
           shown(f.off_median_mm, "{:.2f}") + " | ";
    const double called = std::isfinite(f.filled_called_filled) ? f.filled_called_filled * f.filled : 0;
    out += fmt::format("{} of {} | {} of {} | {} |\n", std::lround(called), f.filled, f.pits_found, f.pits,
                       list.empty() ? "-" : list);
  }
  return out;
}

}  // namespace interstice::sweep
