#include "refill/seam_states.h"

#include <algorithm>
#include <cmath>
#include <map>

namespace interstice::refill {
namespace {

constexpr double kLeastSeenShare = 0.5;  // of a seam's band, for it to be called filled
constexpr double kStretch_mm = 2.0;      // shortest told along a seam
constexpr float kSeen = 0.15f;           // weight of a cell that was seen
constexpr double kHalf = 0.5;
constexpr double kCounted_mm2 = 6;  // opening of a hollow that must not be passed over

// Where along the seam each of its cells lies: the nearest sample.
std::size_t nearest_sample(const seams::FitSeam& seam, const Eigen::Vector3d& at) {
  std::size_t best = 0;
  double distance = 1e18;
  for (std::size_t i = 0; i < seam.samples.size(); ++i) {
    const double d = ((seam.samples[i].a + seam.samples[i].b) / 2 - at).squaredNorm();
    if (d < distance) distance = d, best = i;
  }
  return best;
}

struct Along {
  double hollow_mm2 = 0, seen_mm2 = 0, proved_mm2 = 0, area_mm2 = 0;
};

// A seam's cells in steps along it.
std::vector<Along> in_steps(const seams::FitSeam& seam, const Band& band, const ResinLook& look,
                            const std::vector<char>& hollow, const std::vector<CellIndex>& cells) {
  if (seam.samples.size() < 2) return {};
  const double first = seam.samples.front().s_mm, last = seam.samples.back().s_mm;
  const auto bins = static_cast<std::size_t>(std::max(1.0, std::ceil((last - first) / kStretch_mm)));
  std::vector<Along> along(bins);
  for (const CellIndex i : cells) {
    const double s = seam.samples[nearest_sample(seam, band.cells()[i].at)].s_mm;
    const auto b = std::min(
        bins - 1, static_cast<std::size_t>((s - first) / (last - first) * static_cast<double>(bins)));
    const double area = band.cells()[i].area_mm2;
    along[b].area_mm2 += area;
    if (look.cells[i.value].weight > kSeen) along[b].seen_mm2 += area;
    if (look.cells[i.value].weight > kSeen && look.cells[i.value].log_odds < kProvedResin)
      along[b].proved_mm2 += area;
    if (hollow[i.value]) along[b].hollow_mm2 += area;
  }
  return along;
}

// The largest area on end in which no resin is proved.
double doubtful_mm2(const std::vector<Along>& along) {
  double most = 0, run = 0;
  for (const Along& a : along) {
    run = a.proved_mm2 < kHalf * a.area_mm2 ? run + a.area_mm2 : 0;
    most = std::max(most, run);
  }
  return most;
}

std::vector<Stretch> stretches(const seams::FitSeam& seam, const std::vector<Along>& along) {
  std::vector<Stretch> out;
  if (along.empty()) return out;
  const double first = seam.samples.front().s_mm, last = seam.samples.back().s_mm;
  const std::size_t bins = along.size();
  for (std::size_t b = 0; b < bins; ++b) {
    const Along& a = along[b];
    const SeamState state = a.hollow_mm2 > kHalf * a.area_mm2 && a.area_mm2 > 0  ? SeamState::hollow
                            : a.seen_mm2 < kHalf * a.area_mm2 || a.area_mm2 <= 0 ? SeamState::unseen
                                                                                 : SeamState::filled;
    const double step = (last - first) / static_cast<double>(bins);
    const double from = first + step * static_cast<double>(b), to = from + step;
    if (!out.empty() && out.back().state == state)
      out.back().to_mm = to;
    else
      out.push_back({from, to, state});
  }
  return out;
}

}  // namespace

std::vector<RefillSeam> seam_states(const Band& band, const ResinLook& look,
                                    const std::vector<Patch>& patches, const seams::FitDocument& dry) {
  std::map<std::string, std::size_t> index;
  for (std::size_t i = 0; i < dry.tiles.size(); ++i) index[dry.tiles[i].label] = i;
  std::map<Pair, std::vector<CellIndex>> cells;
  for (std::size_t i = 0; i < band.cells().size(); ++i)
    cells[band.cells()[CellIndex(i)].pair()].push_back(CellIndex(i));
  std::vector<char> hollow(band.cells().size(), 0);
  std::map<Pair, double> hollow_mm2;
  for (const Patch& p : patches) {
    for (const CellIndex i : p.cells) hollow[i.value] = 1;
    if (p.kind == HollowKind::slot) hollow_mm2[p.tiles] += p.opening_mm2;
  }
  std::vector<RefillSeam> out;
  for (const seams::FitSeam& seam : dry.seams) {
    const auto a = index.find(seam.tiles[0]), b = index.find(seam.tiles[1]);
    if (a == index.end() || b == index.end()) continue;
    const Pair pair{geometry::TileIndex(std::min(a->second, b->second)),
                    geometry::TileIndex(std::max(a->second, b->second))};
    RefillSeam s;
    s.tiles = seam.tiles;
    s.width_mm = seam.narrowest_mm;
    s.throat_mm = seam.throat_mm;
    s.length_mm = seam.length_mm;
    s.called_clear = seam.verdict == seams::Verdict::clear;
    const std::vector<CellIndex>& mine = cells[pair];
    double area_mm2 = 0, seen_mm2 = 0;
    for (const CellIndex i : mine) {
      area_mm2 += band.cells()[i].area_mm2;
      if (look.cells[i.value].weight > kSeen) seen_mm2 += band.cells()[i].area_mm2;
    }
    s.seen_share = area_mm2 > 0 ? seen_mm2 / area_mm2 : 0;
    s.hollow_mm2 = hollow_mm2.count(pair) ? hollow_mm2[pair] : 0;
    const std::vector<Along> along = in_steps(seam, band, look, hollow, mine);
    const bool proved = s.seen_share >= kLeastSeenShare && doubtful_mm2(along) < kCounted_mm2;
    s.state = s.hollow_mm2 > 0 ? SeamState::hollow : proved ? SeamState::filled : SeamState::unseen;
    s.along = stretches(seam, along);
    out.push_back(std::move(s));
  }
  return out;
}

}  // namespace interstice::refill
