#include "refill/hollows.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <optional>
#include <set>

#include "core/median.h"
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
constexpr double kLine_mm = 0.45, kLineLong = 4, kLineShare = 0.5;
constexpr double kBin_mm = 0.75, kAcross_mm = 8;  // along a hollow; the widest seam
constexpr float kLeastWeight = 0.05f;
constexpr float kHardlySeen = 0.15f;
constexpr double kAtWood_mm =
    0.5;  // the spot and an outline's error hide a hollow's edge so far from the wood
// Of a hollow's light: so much less than resin's shows where it ends. Its edge is blurred over two cells either way.
constexpr float kLeastFall = 0.25f;
constexpr int kEdgeLayers = 2;
// A bubble's floor curves up to its edge: its light falls slowly, and no part of it need be surely hollow. Then it must
// be as likely hollow as not over all its opening, and plain resin all round.
constexpr double kPitRing_mm = 1.0;
constexpr float kPitInside = 0.25f, kPitRound = -0.5f;
// Burst bubbles are a few millimetres wide (common practice, no source).
constexpr double kWidestPit_mm = 4.0, kRoundPit = 1.7, kFullPit = 0.6;
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

template <class Work>
void for_near(const Band& band, const BandCell& cell, int reach, const Work& work) {
  for (int r = std::max(0, cell.row - reach); r <= std::min(band.grid().rows - 1, cell.row + reach); ++r) {
    for (int c = std::max(0, cell.column - reach); c <= std::min(band.grid().cols - 1, cell.column + reach);
         ++c) {
      const int i = band.grid().at<int>(r, c);
      if (i >= 0) work(CellIndex(static_cast<std::size_t>(i)));
    }
  }
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

// A hollow and its seam's band in steps along it.
class Steps {
 public:
  Steps(const Band& band, const std::vector<CellIndex>& cells, const Pair& pair)
      : band_(band), extent_(extent_of(band, cells)) {
    const auto bins = static_cast<std::size_t>(std::ceil(extent_.length_mm / kBin_mm)) + 2;
    hollow_.assign(bins, 0);
    all_.assign(bins, 0);
    int left = 1 << 30, top = 1 << 30, right = 0, bottom = 0;
    for (const CellIndex i : cells) {
      const BandCell& c = band.cells()[i];
      first_ = std::min(first_, along(c));
      left = std::min(left, c.column), right = std::max(right, c.column);
      top = std::min(top, c.row), bottom = std::max(bottom, c.row);
    }
    for (const CellIndex i : cells) hollow_[*step(band.cells()[i])] += band.cells()[i].area_mm2;
    const int margin = static_cast<int>(kAcross_mm / Band::kStep_mm);
    for (int r = std::max(0, top - margin); r <= std::min(band.grid().rows - 1, bottom + margin); ++r) {
      for (int c = std::max(0, left - margin); c <= std::min(band.grid().cols - 1, right + margin); ++c) {
        const int k = band.grid().at<int>(r, c);
        if (k < 0) continue;
        const BandCell& cell = band.cells()[CellIndex(static_cast<std::size_t>(k))];
        const auto b = step(cell);
        if (cell.pair() == pair && b) all_[*b] += cell.area_mm2;
      }
    }
  }

  const PatchExtent& extent() const { return extent_; }
  std::size_t count() const { return all_.size(); }
  // The step of a cell; none beyond the ends.
  std::optional<std::size_t> step(const BandCell& c) const {
    const double b = std::floor((along(c) - first_) / kBin_mm);
    if (b < 0 || b >= static_cast<double>(all_.size())) return std::nullopt;
    return static_cast<std::size_t>(b);
  }
  // Whether it fills half the way across there.
  bool across(std::size_t b) const { return hollow_[b] >= kLineShare * all_[b] && all_[b] > 0; }

 private:
  double along(const BandCell& c) const { return (c.at - extent_.middle).dot(extent_.along); }

  const Band& band_;
  PatchExtent extent_;
  double first_ = 1e9;
  std::vector<double> hollow_, all_;
};

// What runs on along one side only, beyond where a hollow fills half the way across, is the line that a meniscus or an
// outline a little off draws; it is cut off.
std::vector<CellIndex> without_tails(const Band& band, const std::vector<CellIndex>& cells,
                                     const Pair& pair) {
  const Steps steps(band, cells, pair);
  if (steps.extent().length_mm < 2 * kWidestPit_mm) return cells;
  std::size_t from = 0, to = steps.count();
  while (from < to && !steps.across(from)) ++from;
  while (to > from && !steps.across(to - 1)) --to;
  if (from >= to) return cells;
  std::vector<CellIndex> out;
  for (const CellIndex i : cells) {
    const std::size_t b = *steps.step(band.cells()[i]);
    if (b >= from && b < to) out.push_back(i);
  }
  return out;
}

// Resin that does not bridge a seam stands in none of its width: where a hollow fills half the way across, what is not
// proved resin up to the wood on either side belongs to it.
std::vector<CellIndex> from_wood_to_wood(const Band& band, const ResinLook& look,
                                         const std::vector<CellIndex>& cells, const Pair& pair) {
  const Steps steps(band, cells, pair);
  const double gap_mm = gap_at(band, cells);
  const int reach = static_cast<int>(std::ceil(kLineShare * gap_mm / Band::kStep_mm));
  std::set<CellIndex> all(cells.begin(), cells.end());
  for (const CellIndex i : cells) {
    const auto b = steps.step(band.cells()[i]);
    if (!b || !steps.across(*b)) continue;
    for_near(band, band.cells()[i], reach, [&](CellIndex k) {
      const CellEvidence& seen = look.cells[k.value];
      if (band.cells()[k].pair() == pair && steps.step(band.cells()[k]) == b &&
          (seen.weight < kHardlySeen || seen.log_odds > kProvedResin))
        all.insert(k);
    });
  }
  return {all.begin(), all.end()};
}

// Light falls from the resin's to the hollow's over the width of the spot: the edge lies where it is half way. What is
// hollow beyond doubt reaches a little farther. Of a hollow that is no darker than resin (a wall in light), nothing.
std::vector<CellIndex> to_half_light(const Band& band, const ResinLook& look,
                                     const std::vector<CellIndex>& cells) {
  std::vector<double> shades;
  for (const CellIndex i : cells) shades.push_back(static_cast<double>(look.cells[i.value].shade));
  const auto inside = static_cast<float>(core::median(std::move(shades)));
  if (inside > 1 - kLeastFall) return cells;
  std::set<CellIndex> in(cells.begin(), cells.end());
  for (int layer = 0; layer < kEdgeLayers; ++layer) {
    std::vector<CellIndex> off;
    for (const CellIndex i : in) {
      if (look.cells[i.value].shade <= (1 + inside) / 2 || look.cells[i.value].weight < kHardlySeen) continue;
      bool at_resin = false;
      for_near(band, band.cells()[i], 1, [&](CellIndex k) {
        at_resin = at_resin || (in.count(k) == 0 && look.cells[k.value].log_odds < 0);
      });
      if (at_resin) off.push_back(i);
    }
    for (const CellIndex i : off) in.erase(i);
  }
  return in.empty() ? cells : std::vector<CellIndex>(in.begin(), in.end());
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
  std::vector<Patch> out;
  std::size_t group = 0;
  for (const std::vector<CellIndex>& cells : connected(band, look)) {
    for (auto& [pair, part] : by_seam(band, cells)) {
      std::vector<CellIndex> kept = without_tails(band, part, pair);
      if (!is_pit(band, kept, extent_of(band, kept), area_of(band, kept)))
        kept = to_half_light(band, look, from_wood_to_wood(band, look, kept, pair));
      Patch p = patch_of(band, look, std::move(kept), pair, group);
      if (!is_line(band, p)) out.push_back(std::move(p));
    }
    ++group;
  }
  return out;
}

}  // namespace interstice::refill
