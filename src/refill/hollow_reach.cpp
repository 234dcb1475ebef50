#include "refill/hollow_reach.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <set>

#include "core/median.h"
#include "refill/patch_shape.h"

namespace interstice::refill {

using Eigen::Vector3d;

namespace {

constexpr std::size_t kFollow = 16;               // steps: as far as the longest hollow is half
constexpr double kBin_mm = 0.75, kAcross_mm = 8;  // along a hollow; the widest seam
// Of a hollow's light: so much less than resin's shows where it ends. Its edge is blurred over two cells either way.
constexpr float kLeastFall = 0.25f;
constexpr int kEdgeLayers = 4;

// A hollow and its seam's band in steps along it.
class Steps {
 public:
  // `beyond`: steps past either end.
  Steps(const Band& band, const std::vector<CellIndex>& cells, const Pair& pair, std::size_t beyond = 0)
      : band_(band), extent_(extent_of(band, cells)) {
    const auto bins = static_cast<std::size_t>(std::ceil(extent_.length_mm / kBin_mm)) + 2 + 2 * beyond;
    hollow_.assign(bins, 0);
    all_.assign(bins, 0);
    int left = 1 << 30, top = 1 << 30, right = 0, bottom = 0;
    for (const CellIndex i : cells) {
      const BandCell& c = band.cells()[i];
      first_ = std::min(first_, along(c));
      left = std::min(left, c.column), right = std::max(right, c.column);
      top = std::min(top, c.row), bottom = std::max(bottom, c.row);
    }
    first_ -= static_cast<double>(beyond) * kBin_mm;
    for (const CellIndex i : cells) hollow_[*step(band.cells()[i])] += band.cells()[i].area_mm2;
    const int margin =
        static_cast<int>((kAcross_mm + static_cast<double>(beyond) * kBin_mm) / Band::kStep_mm);
    for (int r = std::max(0, top - margin); r <= std::min(band.grid().rows - 1, bottom + margin); ++r) {
      for (int c = std::max(0, left - margin); c <= std::min(band.grid().cols - 1, right + margin); ++c) {
        const int k = band.grid().at<int>(r, c);
        if (k < 0) continue;
        const BandCell& cell = band.cells()[CellIndex(static_cast<std::size_t>(k))];
        const auto b = step(cell);
        if (cell.pair() != pair || !b) continue;
        all_[*b] += cell.area_mm2;
        near_.emplace_back(static_cast<std::size_t>(k));
      }
    }
  }

  const PatchExtent& extent() const { return extent_; }
  std::size_t count() const { return all_.size(); }
  const std::vector<CellIndex>& near() const { return near_; }  // the seam's own between the ends
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
  std::vector<CellIndex> near_;
};

bool proved_resin(const CellEvidence& seen) {
  return seen.weight >= kHardlySeen && seen.log_odds < kProvedResin;
}

// Half way from a hollow's light to the resin's; none of a hollow that is no darker than resin (a wall in light).
std::optional<float> half_light(const ResinLook& look, const std::vector<CellIndex>& hollow) {
  std::vector<double> shades;
  for (const CellIndex i : hollow) shades.push_back(static_cast<double>(look.cells[i.value].shade));
  const auto inside = static_cast<float>(core::median(std::move(shades)));
  return inside > 1 - kLeastFall ? std::nullopt : std::optional((1 + inside) / 2);
}

bool lighter_than(float half, const CellEvidence& seen) {
  return seen.weight >= kHardlySeen && seen.shade > half;
}

// Of two parts of a seam: what lies between them along it, where nowhere half of the way across is proved resin.
std::optional<std::vector<CellIndex>> unproved_between(const Band& band, const ResinLook& look,
                                                       const SeamPart& a, const SeamPart& b) {
  std::vector<CellIndex> both = a.cells;
  both.insert(both.end(), b.cells.begin(), b.cells.end());
  const Steps steps(band, both, a.pair);
  std::vector<double> hollow(steps.count(), 0), proved(steps.count(), 0);
  std::vector<CellIndex> between;
  const std::set<CellIndex> in(both.begin(), both.end());
  std::array<std::size_t, 2> from{steps.count(), steps.count()}, to{0, 0};
  for (const auto& [part, n] : {std::pair{&a, 0u}, std::pair{&b, 1u}}) {
    for (const CellIndex i : part->cells) {
      const std::size_t s = *steps.step(band.cells()[i]);
      from[n] = std::min(from[n], s), to[n] = std::max(to[n], s);
    }
  }
  const std::size_t first = std::min(to[0], to[1]), last = std::max(from[0], from[1]);
  for (const CellIndex i : steps.near()) {
    const auto s = steps.step(band.cells()[i]);
    if (!s || *s < first || *s > last) continue;
    const bool resin = in.count(i) == 0 && proved_resin(look.cells[i.value]);
    (resin ? proved : hollow)[*s] += band.cells()[i].area_mm2;
    if (!resin && in.count(i) == 0) between.push_back(i);
  }
  for (std::size_t s = first; s <= last && s < steps.count(); ++s) {
    if (proved[s] >= hollow[s]) return std::nullopt;
  }
  return between;
}

}  // namespace

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

std::vector<CellIndex> from_wood_to_wood(const Band& band, const std::vector<CellIndex>& cells,
                                         const Pair& pair) {
  const Steps steps(band, cells, pair);
  const double gap_mm = gap_at(band, cells);
  const int reach = static_cast<int>(std::ceil(kLineShare * gap_mm / Band::kStep_mm));
  std::set<CellIndex> all(cells.begin(), cells.end());
  for (const CellIndex i : cells) {
    const auto b = steps.step(band.cells()[i]);
    if (!b || !steps.across(*b)) continue;
    for_near(band, band.cells()[i], reach, [&](CellIndex k) {
      if (band.cells()[k].pair() == pair && steps.step(band.cells()[k]) == b) all.insert(k);
    });
  }
  return {all.begin(), all.end()};
}

// Light falls from the resin's to the hollow's over the width of the spot: the edge lies where it is half way. Farther in,
// what is hollow beyond doubt and light is a wall in light.
std::vector<CellIndex> to_half_light(const Band& band, const ResinLook& look,
                                     const std::vector<CellIndex>& cells) {
  const std::optional<float> half = half_light(look, cells);
  if (!half) return cells;
  std::set<CellIndex> in(cells.begin(), cells.end()), taken_off;
  for (int layer = 0; layer < kEdgeLayers; ++layer) {
    std::vector<CellIndex> off;
    for (const CellIndex i : in) {
      if (!lighter_than(*half, look.cells[i.value])) continue;
      bool at_resin = false;
      const bool doubtful = look.cells[i.value].log_odds < kBeyondDoubt;
      for_near(band, band.cells()[i], 1, [&](CellIndex k) {
        at_resin = at_resin || (in.count(k) == 0 && look.cells[k.value].log_odds < 0) ||
                   (doubtful && taken_off.count(k) != 0);
      });
      if (at_resin) off.push_back(i);
    }
    for (const CellIndex i : off) in.erase(i), taken_off.insert(i);
  }
  return in.empty() ? cells : std::vector<CellIndex>(in.begin(), in.end());
}

void join_unproved(const Band& band, const ResinLook& look, std::vector<SeamPart>& parts) {
  for (std::size_t a = 0; a < parts.size(); ++a) {
    for (std::size_t b = a + 1; b < parts.size();) {
      const auto between =
          parts[a].pair == parts[b].pair ? unproved_between(band, look, parts[a], parts[b]) : std::nullopt;
      if (!between) {
        ++b;
        continue;
      }
      const std::size_t joined = parts[b].group;
      parts[a].cells.insert(parts[a].cells.end(), parts[b].cells.begin(), parts[b].cells.end());
      parts[a].cells.insert(parts[a].cells.end(), between->begin(), between->end());
      parts.erase(parts.begin() + static_cast<std::ptrdiff_t>(b));
      for (SeamPart& p : parts) p.group = p.group == joined ? parts[a].group : p.group;
      b = a + 1;
    }
  }
}

void follow_unproved(const Band& band, const ResinLook& look, SeamPart& part) {
  const Steps steps(band, part.cells, part.pair, kFollow);
  std::set<CellIndex> in(part.cells.begin(), part.cells.end());
  std::vector<double> proved(steps.count(), 0), area(steps.count(), 0);
  std::vector<std::vector<CellIndex>> open(steps.count());
  std::size_t first = steps.count(), last = 0;
  for (const CellIndex i : part.cells) {
    const std::size_t s = *steps.step(band.cells()[i]);
    if (steps.across(s)) first = std::min(first, s), last = std::max(last, s);
  }
  if (first > last) return;
  const std::optional<float> half = half_light(look, part.cells);
  for (const CellIndex i : steps.near()) {
    const std::size_t s = *steps.step(band.cells()[i]);
    area[s] += band.cells()[i].area_mm2;
    if (in.count(i) != 0) continue;
    if (proved_resin(look.cells[i.value]) || (half && lighter_than(*half, look.cells[i.value])))
      proved[s] += band.cells()[i].area_mm2;
    else
      open[s].push_back(i);
  }
  const auto follow = [&](std::size_t s) {
    if (area[s] <= 0 || proved[s] >= kLineShare * area[s]) return false;
    for (const CellIndex i : open[s]) part.followed.push_back(i);
    return true;
  };
  const std::size_t most = last + 1 - first;
  for (std::size_t s = last + 1; s < steps.count() && s <= last + most && follow(s); ++s) {
  }
  for (std::size_t s = first; s > 0 && first - s < most && follow(s - 1); --s) {
  }
  part.cells.insert(part.cells.end(), part.followed.begin(), part.followed.end());
}

}  // namespace interstice::refill
