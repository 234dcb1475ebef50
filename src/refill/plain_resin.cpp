#include "refill/plain_resin.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>

#include "core/median.h"
#include "core/parallel.h"

namespace interstice::refill {

using Eigen::Vector3f;

namespace {

constexpr double kPlainBlock_mm = 6;    // of the map, over which resin is taken to look alike
constexpr std::size_t kLeastSeen = 60;  // cells for a median that noise does not move
constexpr std::size_t kLeastOwn = 160;  // 10 mm2 of one seam: more than the least hollow that counts
constexpr int kOwnReach = 3;      // blocks: farther than half the longest hollow, so that resin is among it
constexpr double kDensest = 0.4;  // of all that is seen
constexpr float kMirrorsFacing = 0.04f, kTwice = 2;

Vector3f unknown() {
  return Vector3f::Constant(std::numeric_limits<float>::quiet_NaN());
}

// By channel, of a stretch of what is sorted.
Vector3f median_of(const std::vector<Vector3f>& light, std::size_t from, std::size_t to) {
  Vector3f out;
  for (Eigen::Index k = 0; k < 3; ++k) {
    std::vector<double> one;
    for (std::size_t m = from; m < to; ++m) one.push_back(static_cast<double>(light[m][k]));
    out[k] = static_cast<float>(core::median(std::move(one)));
  }
  return out;
}

void sort_by_light(std::vector<Vector3f>& light) {
  std::sort(light.begin(), light.end(), [](const Vector3f& x, const Vector3f& y) {
    return light_sum(x) != light_sum(y) ? light_sum(x) < light_sum(y) : x[0] < y[0];
  });
}

}  // namespace

float wall_in_resin(const Vector3f& wood, float cosine) {
  return kTwice * (kMirrorsFacing + (1 - kMirrorsFacing) * std::pow(1 - cosine, 5.0f)) * light_sum(wood);
}

float light_sum(const Vector3f& light) {
  return light.sum() / 3;
}

float bright(const Vector3f& codes) {
  return codes.sum() / std::numbers::sqrt3_v<float>;
}

Vector3f codes(const Vector3f& light) {
  return {code_of(light[0]), code_of(light[1]), code_of(light[2])};
}

Vector3f densest_part(std::vector<Vector3f> light) {
  sort_by_light(light);
  std::vector<float> value;
  for (const Vector3f& l : light) value.push_back(bright(codes(l)));
  const auto n = static_cast<std::size_t>(std::ceil(kDensest * static_cast<double>(light.size())));
  std::size_t best = 0;
  const auto width = [&](std::size_t k) { return value[k + n - 1] - value[k]; };
  for (std::size_t k = 1; k + n <= light.size(); ++k) {
    if (width(k) < width(best)) best = k;
  }
  return median_of(light, best, best + n);
}

PlainLearner::PlainLearner(const Band& band, const BandViews& views,
                           const std::vector<CellsAndViews>& of_photo)
    : band_(band), views_(views), of_photo_(of_photo) {
  side_ = static_cast<int>(std::ceil(band.grid().cols * Band::kStep_mm / kPlainBlock_mm)) + 1;
  std::map<Pair, std::size_t> seam_of;
  std::map<std::pair<std::size_t, std::size_t>, std::size_t> number;
  place_of_.resize(band.cells().size());
  for (std::size_t i = 0; i < place_of_.size(); ++i) {
    const BandCell& cell = band.cells()[CellIndex(i)];
    const std::size_t seam = seam_of.emplace(cell.pair(), seam_of.size()).first->second;
    const auto [it, added] = number.emplace(std::pair{seam, block_of(cell)}, places_.size());
    if (added) places_.push_back({seam, block_of(cell)});
    place_of_[i] = it->second;
  }
  seams_ = seam_of.size();
}

std::size_t PlainLearner::block_of(const BandCell& cell) const {
  const auto b = [](int k) { return static_cast<int>(k * Band::kStep_mm / kPlainBlock_mm); };
  return static_cast<std::size_t>(b(cell.row) * side_ + b(cell.column));
}

bool PlainLearner::within(std::size_t a, std::size_t b, int reach) const {
  const int m = static_cast<int>(a), n = static_cast<int>(b);
  return std::abs(m / side_ - n / side_) <= reach && std::abs(m % side_ - n % side_) <= reach;
}

// The light of plain resin about a block, as far away as it takes to see enough cells: gloss only adds to it, so
// it is that of the darker half, from the 25th to the 50th of a hundred. As long as hollows are among them, the
// median.
Vector3f PlainLearner::look_about(const std::vector<std::vector<Vector3f>>& blocks, std::size_t b,
                                  bool all_near) const {
  const int row = static_cast<int>(b) / side_, column = static_cast<int>(b) % side_;
  // Far about at first, so that a hollow is not taken for the resin; near by once hollows are left out.
  for (const int reach : all_near ? std::array{4, 8, 12} : std::array{3, 6, 12}) {
    std::vector<Vector3f> light;
    for (int r = std::max(0, row - reach); r <= std::min(side_ - 1, row + reach); ++r) {
      for (int c = std::max(0, column - reach); c <= std::min(side_ - 1, column + reach); ++c) {
        const auto& more = blocks[static_cast<std::size_t>(r * side_ + c)];
        light.insert(light.end(), more.begin(), more.end());
      }
    }
    if (light.size() < kLeastSeen) continue;
    sort_by_light(light);
    const auto n = static_cast<double>(light.size());
    return median_of(light, static_cast<std::size_t>((all_near ? 0.4 : 0.25) * n),
                     static_cast<std::size_t>((all_near ? 0.6 : 0.5) * n));
  }
  return unknown();
}

PlainLearner::Known PlainLearner::learn_photo(const CellsAndViews& seen, const std::vector<char>& resin,
                                              bool all_near) const {
  std::vector<std::vector<Vector3f>> blocks(static_cast<std::size_t>(side_) *
                                            static_cast<std::size_t>(side_));
  std::vector<std::vector<Seen>> of_seam(seams_);
  std::vector<char> block_asked(blocks.size(), 0), place_asked(places_.size(), 0);
  for (const auto& [i, v] : seen) {
    const Place& place = places_[place_of_[i]];
    block_asked[place.block] = place_asked[place_of_[i]] = 1;
    if (!resin[i]) continue;
    const Vector3f light = lights(views_.views[v].codes);
    blocks[place.block].push_back(light);
    if (!all_near) of_seam[place.seam].push_back({place.block, light});
  }
  Known known{std::vector<Vector3f>(blocks.size(), unknown()),
              std::vector<Vector3f>(places_.size(), unknown())};
  for (std::size_t b = 0; b < blocks.size(); ++b) {
    if (block_asked[b]) known.near[b] = look_about(blocks, b, all_near);
  }
  for (std::size_t p = 0; p < places_.size(); ++p) {
    if (all_near || !place_asked[p]) continue;
    std::vector<Vector3f> light;
    for (const Seen& s : of_seam[places_[p].seam]) {
      if (within(s.block, places_[p].block, kOwnReach)) light.push_back(s.light);
    }
    if (light.size() >= kLeastOwn) known.own[p] = densest_part(std::move(light));
  }
  return known;
}

// Places whose seam is as dark beside what is near as a hollow's floor, in half of the photos that show it.
std::vector<char> PlainLearner::may_be_hollow(const std::vector<Known>& known) const {
  std::vector<char> out(places_.size(), 0);
  for (std::size_t p = 0; p < places_.size(); ++p) {
    std::vector<double> ratio;
    for (const Known& k : known) {
      const Vector3f &own = k.own[p], &near = k.near[places_[p].block];
      if (own.allFinite() && near.allFinite())
        ratio.push_back(static_cast<double>(light_sum(own) / std::max(1e-4f, light_sum(near))));
    }
    out[p] = !ratio.empty() && core::median(std::move(ratio)) < static_cast<double>(kFloorLight) ? 1 : 0;
  }
  return out;
}

PlainResin PlainLearner::learn(const std::vector<char>& resin, bool all_near, int threads) const {
  std::vector<Known> known(of_photo_.size());
  core::parallel_for(of_photo_.size(), threads,
                     [&](std::size_t p) { known[p] = learn_photo(of_photo_[p], resin, all_near); });
  const std::vector<char> doubted = may_be_hollow(known);
  const std::size_t n = views_.views.size();
  PlainResin out{std::vector<Vector3f>(n, unknown()), std::vector<Vector3f>(n, unknown())};
  for (std::size_t photo = 0; photo < known.size(); ++photo) {
    for (const auto& [i, v] : of_photo_[photo]) {
      const std::size_t p = place_of_[i];
      out.light[v] = known[photo].near[places_[p].block];
      if (!doubted[p]) out.own[v] = known[photo].own[p];
    }
  }
  return out;
}

}  // namespace interstice::refill
