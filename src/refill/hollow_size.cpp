#include "refill/hollow_size.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::refill {
namespace {

constexpr double kEndSd_mm =
    0.4;  // standard uncertainty of a hollow's end: cells are pooled over 0.35, a spot 0.2
constexpr double kPitEdge_mm = 0.15;    // of a bubble's edge, all round alike
constexpr double kShallowest_mm = 0.5;  // of what looks hollow at all
constexpr double kLeastLeft = 0.5;      // of an opening stays, whatever its uncertainty
constexpr float kSeenAtAll = 0.15f;     // weight of a cell; what is not lies between wood and hollow
constexpr double kBeside_mm = 0.5;      // of the wood: cells whose number gives the wood's length

}  // namespace

double opening_u95_mm2(const Band& band, const Patch& patch) {
  if (patch.kind == HollowKind::pit) {
    const double round_mm = 2 * std::sqrt(std::numbers::pi * patch.opening_mm2);
    return 2 * kPitEdge_mm * round_mm;
  }
  double first = 0, second = 0;
  for (const CellIndex i : patch.cells) {
    first += band.cells()[i].first_sd_mm / static_cast<double>(patch.cells.size());
    second += band.cells()[i].second_sd_mm / static_cast<double>(patch.cells.size());
  }
  const double width_mm = patch.opening_mm2 / std::max(0.1, patch.length_mm);
  const double across = patch.length_mm * std::hypot(first, second);
  const double ends = std::numbers::sqrt2 * width_mm * kEndSd_mm;
  return 2 * std::hypot(across, ends);
}

double doubtful_mm2(const Band& band, const ResinLook& look, const Patch& patch) {
  double sum = patch.followed_mm2;
  for (const CellIndex i : patch.cells) {
    const CellEvidence& e = look.cells[i.value];
    if (e.weight >= kSeenAtAll && e.log_odds < kBeyondDoubt) sum += band.cells()[i].area_mm2;
  }
  return sum;
}

double drawn_back_mm3(const Band& band, const Patch& patch, double depth_mm) {
  double sum = 0;
  for (const CellIndex i : patch.cells) {
    const BandCell& c = band.cells()[i];
    for (const auto& [piece, outside] : {std::pair{c.first, c.first_mm}, std::pair{c.second, c.second_mm}}) {
      if (outside >= kBeside_mm || !band.fields()[piece.value]) continue;
      const channels::PieceField& field = *band.fields()[piece.value];
      const double slope = std::max(0.0, field.read(field.face().drop(c.at)).slope);
      sum += c.area_mm2 / kBeside_mm * slope * depth_mm * depth_mm / 2;
    }
  }
  return sum;
}

double drawn_in_mm3(const Band& band, const Patch& patch, double depth_mm) {
  double sum = 0;
  for (const CellIndex i : patch.cells)
    sum += band.cells()[i].area_mm2 * std::max(0.0, band.cells()[i].narrows_per_mm) * depth_mm * depth_mm / 2;
  return sum;
}

VolumeRange volume_range(const OpeningRange& opening, const DepthRange& depth, const WallRoom& walls) {
  const double less = std::min(kLeastLeft, opening.less_mm2 / opening.mm2),
               more = opening.more_mm2 / opening.mm2;
  VolumeRange out;
  out.low_mm3 =
      opening.mm2 * (1 - less) * depth.least_mm -
      std::min(kLeastLeft * opening.mm2 * (1 - less) * depth.least_mm, walls.in_mm3(depth.least_mm));
  if (!depth.floor_mm) {
    out.high_mm3 = opening.mm2 * (1 + more / 2) * depth.most_mm + walls.back_mm3(depth.least_mm);
    return out;
  }
  const double floor_mm = std::clamp(*depth.floor_mm, depth.least_mm, depth.most_mm);
  const double middle = opening.mm2 * floor_mm;
  out.high_mm3 = middle * std::exp(std::hypot(std::log(1 + more), std::log(depth.most_mm / floor_mm),
                                              std::log(1 + walls.back_mm3(floor_mm) / middle)));
  return out;
}

void add_size(const Band& band, const ResinLook& look, const Patch& patch, const HollowDepth& depth,
              Hollow& h) {
  h.length_mm = patch.length_mm;
  h.opening_mm2 = patch.opening_mm2;
  h.width_mm = patch.opening_mm2 / patch.length_mm;
  h.opening_u95_mm2 = opening_u95_mm2(band, patch);
  double room_mm = 0;
  for (const CellIndex i : patch.cells)
    room_mm += band.cells()[i].void_depth_mm / static_cast<double>(patch.cells.size());
  const bool pit = patch.kind == HollowKind::pit;
  // A pit is the part of a ball: two thirds of the box round it; never deeper than half as wide again.
  if (pit) room_mm = std::min(room_mm, 0.75 * h.length_mm);
  h.depth_at_least_mm = std::min(std::max(kShallowest_mm, depth.at_least_mm), room_mm);
  h.floor_mm = depth.floor_mm;
  const double deepest_mm =
      std::max(h.depth_at_least_mm, depth.floor_mm ? std::min(room_mm, depth.floor_high_mm) : room_mm);
  const double shape = pit ? 2.0 / 3 : 1;
  const VolumeRange range = volume_range(
      {h.opening_mm2, std::hypot(h.opening_u95_mm2, doubtful_mm2(band, look, patch)), h.opening_u95_mm2},
      {h.depth_at_least_mm, h.floor_mm, deepest_mm},
      {[&](double depth_mm) { return pit ? 0 : drawn_back_mm3(band, patch, depth_mm); },
       [&](double depth_mm) { return pit ? 0 : drawn_in_mm3(band, patch, depth_mm); }});
  h.volume_low_ml = shape * range.low_mm3 / 1000;
  h.volume_high_ml = shape * range.high_mm3 / 1000;
}

}  // namespace interstice::refill
