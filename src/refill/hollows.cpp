#include "refill/hollows.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <set>

#include "core/median.h"
#include "refill/hollow_reach.h"
#include "refill/patch_shape.h"

namespace interstice::refill {

using Eigen::Vector3d;

namespace {

constexpr float kCore = 1.2f;                            // log of odds: surely hollow
constexpr double kLeastCore_mm2 = 0.8;                   // four spots of 0.2 mm either way
constexpr double kLeastPart_mm2 = 6, kLeastPart_mm = 3;  // of a hollow that is told apart at a junction
// Where the shell ends, resin ends as it likes, and the bench shows: no hollow begins there.
constexpr double kEnd_mm = 2.5;
// A meniscus, or an outline that is a little off, draws a line along the wood: long, and less than half the way
// across. What is narrower than the spot's two standard deviations either way is one in any case.
constexpr double kLine_mm = 0.45, kLineLong = 4;
constexpr float kLeastWeight = 0.05f;
constexpr double kAtWood_mm =
    0.5;  // the spot and an outline's error hide a hollow's edge so far from the wood
// A bubble's floor curves up to its edge: its light falls slowly, and no part of it need be surely hollow. Then it must
// be as likely hollow as not over all its opening, and plain resin all round.
constexpr double kPitRing_mm = 1.0;
constexpr float kPitInside = 0.25f, kPitRound = -0.5f;
// Burst bubbles are a few millimetres wide (common practice, no source).
constexpr double kRoundPit = 1.7, kFullPit = 0.6;
constexpr double kSpans = 0.8;  // of the way from wood to wood: no pit

bool is_pit(const Band& band, const std::vector<CellIndex>& cells, const PatchExtent& e, double area_mm2) {
  if (e.length_mm > kWidestPit_mm || e.length_mm > kRoundPit * e.across_mm) return false;
  if (area_mm2 < kFullPit * std::numbers::pi / 4 * e.length_mm * e.across_mm) return false;
  return std::sqrt(e.length_mm * e.across_mm) < kSpans * gap_at(band, cells);
}

bool is_line(const Band& band, const Patch& p) {
  const double width_mm = p.opening_mm2 / p.length_mm, gap_mm = gap_at(band, p.cells);
  if (width_mm < kLine_mm && width_mm < kSpans * gap_mm) return true;
  return p.length_mm > kLineLong * width_mm && width_mm < kLineShare * gap_mm;
}

Patch patch_of(const Band& band, const ResinLook& look, std::vector<CellIndex> cells, const Pair& tiles,
               std::size_t group) {
  Patch p;
  p.tiles = tiles;
  p.group = group;
  const PatchExtent e = extent_of(band, cells);
  p.at = e.middle;
  p.along = e.along;
  p.length_mm = e.length_mm;
  p.opening_mm2 = area_of(band, cells);
  p.kind = is_pit(band, cells, e, p.opening_mm2) ? HollowKind::pit : HollowKind::slot;
  Vector3d normal = Vector3d::Zero();
  for (const CellIndex i : cells) {
    normal += band.cells()[i].normal;
    p.certainty += static_cast<double>(look.cells[i.value].log_odds) / static_cast<double>(cells.size());
  }
  p.normal = normal.normalized();
  std::vector<double> shades;
  for (const CellIndex i : cells) {
    p.hue_share += static_cast<double>(look.cells[i.value].hue) / static_cast<double>(cells.size());
    shades.push_back(static_cast<double>(look.cells[i.value].shade));
  }
  p.shade = core::median(std::move(shades));
  p.rim = rim_of(band, cells);
  p.map = band.shell().form.locate(p.at).uv;
  std::sort(cells.begin(), cells.end());
  p.cells = std::move(cells);
  return p;
}

// A bubble by its shape and by what is round it.
bool is_faint_pit(const Band& band, const ResinLook& look, const std::vector<CellIndex>& part) {
  if (area_of(band, part) < kLeastCore_mm2) return false;
  const PatchExtent e = extent_of(band, part);
  if (!is_pit(band, part, e, area_of(band, part))) return false;
  const std::set<CellIndex> inside(part.begin(), part.end());
  std::set<CellIndex> ring;
  float in = 0, round = 0;
  for (const CellIndex i : part) {
    in += look.cells[i.value].log_odds / static_cast<float>(part.size());
    if (band.cells()[i].to_end_mm < kEnd_mm) return false;
    for_near(band, band.cells()[i], static_cast<int>(kPitRing_mm / Band::kStep_mm), [&](CellIndex k) {
      if (inside.count(k) == 0) ring.insert(k);
    });
  }
  for (const CellIndex k : ring) round += look.cells[k.value].log_odds / static_cast<float>(ring.size());
  return in > kPitInside && round < kPitRound;
}

// A hollow reaches to the wood: cells between that are hardly seen belong to it.
std::vector<CellIndex> up_to_the_wood(const Band& band, const ResinLook& look,
                                      const std::vector<CellIndex>& part) {
  std::set<CellIndex> all(part.begin(), part.end());
  for (const CellIndex i : part) {
    const BandCell& cell = band.cells()[i];
    for_near(band, cell, static_cast<int>(kAtWood_mm / Band::kStep_mm), [&](CellIndex k) {
      const BandCell& other = band.cells()[k];
      if (look.cells[k.value].weight < kHardlySeen && other.first_mm < kAtWood_mm &&
          other.pair() == cell.pair())
        all.insert(k);
    });
  }
  return {all.begin(), all.end()};
}

// Connected cells as likely hollow as not, each with its core or a bubble.
std::vector<std::vector<CellIndex>> connected(const Band& band, const ResinLook& look) {
  std::vector<std::vector<CellIndex>> out;
  std::vector<bool> done(band.cells().size(), false);
  const auto hollow = [&](std::size_t i) {
    return look.cells[i].log_odds > 0 && look.cells[i].weight > kLeastWeight;
  };
  for (std::size_t start = 0; start < done.size(); ++start) {
    if (done[start] || !hollow(start)) continue;
    std::vector<CellIndex> part{CellIndex(start)};
    done[start] = true;
    double core = 0;
    for (std::size_t n = 0; n < part.size(); ++n) {
      const BandCell& cell = band.cells()[part[n]];
      if (look.cells[part[n].value].log_odds > kCore && cell.to_end_mm > kEnd_mm) core += cell.area_mm2;
      for (int k = 0; k < 9; ++k) {
        const int r = cell.row + k / 3 - 1, c = cell.column + k % 3 - 1;
        if (r < 0 || c < 0 || r >= band.grid().rows || c >= band.grid().cols) continue;
        const int i = band.grid().at<int>(r, c);
        if (i < 0 || done[static_cast<std::size_t>(i)] || !hollow(static_cast<std::size_t>(i))) continue;
        done[static_cast<std::size_t>(i)] = true;
        part.emplace_back(static_cast<std::size_t>(i));
      }
    }
    if (core >= kLeastCore_mm2)
      out.push_back(up_to_the_wood(band, look, part));
    else if (is_faint_pit(band, look, part))
      out.push_back(std::move(part));
  }
  return out;
}

// The parts of a joined hollow by seam; what is too little for itself goes to the nearest part.
std::map<Pair, std::vector<CellIndex>> by_seam(const Band& band, const std::vector<CellIndex>& cells) {
  std::map<Pair, std::vector<CellIndex>> parts;
  for (const CellIndex i : cells) parts[band.cells()[i].pair()].push_back(i);
  if (parts.size() == 1) return parts;
  std::map<Pair, std::vector<CellIndex>> kept, rest;
  for (auto& [pair, part] : parts) {
    const bool own =
        area_of(band, part) >= kLeastPart_mm2 && extent_of(band, part).length_mm >= kLeastPart_mm;
    (own ? kept : rest)[pair] = part;
  }
  if (kept.empty()) {
    const auto largest = std::max_element(parts.begin(), parts.end(), [&](const auto& a, const auto& b) {
      return area_of(band, a.second) < area_of(band, b.second);
    });
    return {{largest->first, cells}};
  }
  const std::map<Pair, std::vector<CellIndex>> anchors = kept;
  for (const auto& [pair, part] : rest) {
    for (const CellIndex i : part) {
      const Pair* nearest = nullptr;
      double best = 1e18;
      for (const auto& [other, others] : anchors) {
        for (const CellIndex k : others) {
          const double d = (band.cells()[k].at - band.cells()[i].at).squaredNorm();
          if (d < best) best = d, nearest = &other;
        }
      }
      kept[*nearest].push_back(i);
    }
  }
  return kept;
}

}  // namespace

std::vector<Patch> find_hollows(const Band& band, const ResinLook& look) {
  std::vector<SeamPart> parts;
  std::size_t group = 0;
  for (const std::vector<CellIndex>& cells : connected(band, look)) {
    for (auto& [pair, part] : by_seam(band, cells))
      parts.push_back({pair, without_tails(band, part, pair), group, {}});
    ++group;
  }
  join_unproved(band, look, parts);
  std::vector<Patch> out;
  for (SeamPart& part : parts) {
    std::vector<CellIndex> kept = std::move(part.cells);
    if (!is_pit(band, kept, extent_of(band, kept), area_of(band, kept)))
      kept = to_half_light(band, look, from_wood_to_wood(band, kept, part.pair));
    if (is_line(band, patch_of(band, look, kept, part.pair, part.group))) continue;
    part.cells = std::move(kept);
    if (!is_pit(band, part.cells, extent_of(band, part.cells), area_of(band, part.cells)))
      follow_unproved(band, look, part);
    out.push_back(patch_of(band, look, std::move(part.cells), part.pair, part.group));
    out.back().followed_mm2 = area_of(band, part.followed);
  }
  return out;
}

}  // namespace interstice::refill
