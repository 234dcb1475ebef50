#include "refill/next_pour.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "plan/piece_model.h"
#include "pour/pour_search.h"

namespace interstice::refill {

using Eigen::Vector3d;

namespace {

constexpr double kInlet_mm = 6, kFence_mm = 10, kHolds_mm = 0.5;
constexpr double kSteepest_deg = 75;  // beyond, resin has hardly a level in the opening
constexpr double kMostTilt_deg = 90;  // a cradle lays the bowl on its side, no further
constexpr double kStep_deg = 5;
constexpr double kSpare = 1.15;     // what stays in cup and on stick
constexpr double kNeedle_mm = 1.8;  // a blunt needle of 1.2 mm bore with its wall (from memory)
constexpr double kDeg = std::numbers::pi / 180;

struct Lean {
  pour::Tilt tilt;
  std::vector<bool> fills;
};

// The pieces on the rim: a lean is told by the one that comes up.
struct Side {
  std::string label;
  double azimuth_deg = 0;
};

std::vector<Side> sides_of(const plan::Plan& plan) {
  std::vector<Side> out;
  for (std::size_t i = 0; i < plan.tiles.size(); ++i) {
    const plan::PlannedTile& tile = plan.tiles[geometry::TileIndex(i)];
    if (tile.ring != 1) continue;
    const Vector3d at = plan::planned_face(plan, geometry::TileIndex(i)).frame.origin;
    out.push_back({tile.label, std::atan2(at.y(), at.x()) / kDeg});
  }
  return out;
}

std::vector<Lean> leans(const std::vector<Hollow>& hollows, const std::vector<Side>& sides) {
  std::vector<double> azimuths;
  for (const Side& side : sides) azimuths.push_back(side.azimuth_deg);
  std::vector<Lean> out;
  for (const pour::Tilt& tilt : pour::tilt_grid(azimuths, kStep_deg)) {
    if (tilt.tilt_deg > kMostTilt_deg) continue;
    Lean lean{tilt, std::vector<bool>(hollows.size())};
    bool any = false;
    for (std::size_t i = 0; i < hollows.size(); ++i) {
      lean.fills[i] = fence_mm(hollows[i], tilt.up()).has_value();
      any = any || lean.fills[i];
    }
    if (any) out.push_back(std::move(lean));
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const Lean& a, const Lean& b) { return a.tilt.tilt_deg < b.tilt.tilt_deg; });
  return out;
}

// Covers of `left` with at most `most` leans; the first found has the least leaned first choices.
bool cover(const std::vector<Lean>& leans, std::vector<bool> left, std::size_t most,
           std::vector<std::size_t>& chosen) {
  // The hollow that the fewest leans fill decides.
  std::size_t hardest = left.size(), fewest = leans.size() + 1;
  for (std::size_t i = 0; i < left.size(); ++i) {
    if (!left[i]) continue;
    const auto n = static_cast<std::size_t>(
        std::count_if(leans.begin(), leans.end(), [&](const Lean& l) { return l.fills[i]; }));
    if (n > 0 && n < fewest) fewest = n, hardest = i;
  }
  if (hardest == left.size()) return true;
  if (most == 0) return false;
  for (std::size_t k = 0; k < leans.size(); ++k) {
    if (!leans[k].fills[hardest]) continue;
    std::vector<bool> rest = left;
    for (std::size_t i = 0; i < rest.size(); ++i) rest[i] = rest[i] && !leans[k].fills[i];
    chosen.push_back(k);
    if (cover(leans, rest, most - 1, chosen)) return true;
    chosen.pop_back();
  }
  return false;
}

std::vector<std::size_t> greedy(const std::vector<Lean>& leans, std::vector<bool> left) {
  std::vector<std::size_t> chosen;
  for (;;) {
    std::size_t best = leans.size();
    std::ptrdiff_t most = 0;
    for (std::size_t k = 0; k < leans.size(); ++k) {
      std::ptrdiff_t n = 0;
      for (std::size_t i = 0; i < left.size(); ++i) n += left[i] && leans[k].fills[i] ? 1 : 0;
      if (n > most) most = n, best = k;
    }
    if (best == leans.size()) return chosen;
    for (std::size_t i = 0; i < left.size(); ++i) left[i] = left[i] && !leans[best].fills[i];
    chosen.push_back(best);
  }
}

std::vector<std::size_t> fewest_leans(const std::vector<Lean>& leans, std::size_t hollows) {
  const std::vector<bool> all(hollows, true);
  const std::vector<std::size_t> found = greedy(leans, all);
  for (std::size_t most = 1; most < std::min<std::size_t>(found.size(), 4); ++most) {
    std::vector<std::size_t> chosen;
    if (cover(leans, all, most, chosen)) return chosen;
  }
  return found;
}

std::string side_at(const std::vector<Side>& sides, double azimuth_deg) {
  std::string label;
  double least = 1e9;
  for (const Side& side : sides) {
    const double off = std::abs(std::remainder(azimuth_deg - side.azimuth_deg, 360.0));
    if (off < least) least = off, label = side.label;
  }
  return label;
}

double steepness(const Hollow& h, const Vector3d& up) {
  return std::acos(std::clamp(h.normal.dot(up), -1.0, 1.0));
}

RefillPour pour_of(const std::vector<Hollow>& hollows, std::vector<std::size_t> mine, const pour::Tilt& tilt,
                   const std::vector<Side>& sides) {
  RefillPour p;
  const Vector3d up = tilt.up();
  p.tilt_deg = tilt.tilt_deg;
  p.azimuth_deg = tilt.azimuth_deg;
  p.up = side_at(sides, tilt.azimuth_deg);
  std::stable_sort(mine.begin(), mine.end(), [&](std::size_t a, std::size_t b) {
    return hollows[a].at.dot(up) < hollows[b].at.dot(up);
  });
  for (const std::size_t i : mine) {
    p.volume_low_ml += hollows[i].volume_low_ml;
    p.volume_high_ml += hollows[i].volume_high_ml;
    const double fence = fence_mm(hollows[i], up).value_or(0);
    if (fence > kHolds_mm && std::find(p.tape.begin(), p.tape.end(), hollows[i].tiles) == p.tape.end())
      p.tape.push_back(hollows[i].tiles);
  }
  p.mix_ml = std::max(kLeastBatch_ml, std::ceil(kSpare * p.volume_high_ml));
  p.hollows = std::move(mine);
  return p;
}

}  // namespace

std::optional<double> fence_mm(const Hollow& h, const Vector3d& up) {
  const double angle = steepness(h, up);
  if (angle > kSteepest_deg * kDeg) return std::nullopt;
  const Vector3d across = h.normal.cross(h.along);
  const double rise_along = std::abs(h.along.dot(up)), rise_across = std::abs(across.dot(up));
  // Rises along the slope: the inlet's length and the slot's width, each by its share.
  const double rise =
      std::min(h.length_mm, kInlet_mm) * rise_along + std::min(h.width_mm, kInlet_mm) * rise_across;
  const double fence = rise / std::max(0.1, std::cos(angle));
  if (fence > kFence_mm) return std::nullopt;
  return fence;
}

std::vector<RefillPour> plan_refill(const std::vector<Hollow>& hollows, const plan::Plan& plan) {
  std::vector<RefillPour> out;
  if (hollows.empty()) return out;
  const std::vector<Side> sides = sides_of(plan);
  const std::vector<Lean> all = leans(hollows, sides);
  std::vector<std::size_t> chosen = fewest_leans(all, hollows.size());
  std::vector<std::vector<std::size_t>> of(chosen.size());
  for (std::size_t i = 0; i < hollows.size(); ++i) {
    std::size_t best = chosen.size();
    for (std::size_t k = 0; k < chosen.size(); ++k) {
      if (!all[chosen[k]].fills[i]) continue;
      if (best == chosen.size() || steepness(hollows[i], all[chosen[k]].tilt.up()) <
                                       steepness(hollows[i], all[chosen[best]].tilt.up()))
        best = k;
    }
    if (best < chosen.size()) of[best].push_back(i);
  }
  for (std::size_t k = 0; k < chosen.size(); ++k) {
    if (!of[k].empty()) out.push_back(pour_of(hollows, of[k], all[chosen[k]].tilt, sides));
  }
  std::stable_sort(out.begin(), out.end(), [](const RefillPour& a, const RefillPour& b) {
    return a.volume_high_ml > b.volume_high_ml;
  });
  return out;
}

double needle_pressure_pa(double viscosity_pa_s, double length_m, double flow_m3_s, double bore_m) {
  return 128 * viscosity_pa_s * length_m * flow_m3_s / (std::numbers::pi * std::pow(bore_m, 4));
}

std::vector<HollowAdvice> advise(const std::vector<Hollow>& hollows, double narrowest_mm,
                                 const std::optional<pour::Resin>& resin) {
  std::vector<HollowAdvice> out;
  for (const Hollow& h : hollows) {
    HollowAdvice a;
    if (h.kind == HollowKind::pit) {
      a.words = "burst bubble: clean it out and fill it drop by drop";
    } else if (h.width_mm >= narrowest_mm) {
      a.words = "wide enough to fill by pouring";
    } else if (h.width_mm >= kNeedle_mm) {
      a.way = Way::syringe;
      // 0.1 ml a second through 25 mm of 1.2 mm bore, on a plunger of 15 mm.
      const double pressure =
          needle_pressure_pa(resin ? resin->viscosity_mpa_s / 1000 : 0.6, 0.025, 1e-7, 0.0012);
      a.words = fmt::format(
          "narrower than the {:.1f} mm that fills: push resin in from its lower end with a syringe and a "
          "blunt needle (about {:.0f} N on a plunger of 15 mm), or open it to {:.1f} mm",
          narrowest_mm, std::ceil(pressure * std::numbers::pi / 4 * 0.015 * 0.015), narrowest_mm);
    } else {
      a.way = Way::open_first;
      a.words = fmt::format(
          "narrower than the {:.1f} mm that fills, and than a needle: open it to {:.1f} mm with a drill or "
          "blade, blow it out, then pour",
          narrowest_mm, narrowest_mm);
    }
    out.push_back(std::move(a));
  }
  return out;
}

}  // namespace interstice::refill
