#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "pour/coverage.h"
#include "pour/pour_parts.h"

namespace interstice::pour {
namespace {

constexpr double kLittle_mm = 0.5;  // of seam: not worth a word

struct RingShape {
  double top_z = -1e9, low_z = 1e9;   // of the outer faces as planned
  double rho_from = 1e9, rho_to = 0;  // on the map
  double width_sum = 0;               // of the pieces along the ring
  int pieces = 0;
};

RingShape shape_of(const plan::Plan& plan, int ring) {
  RingShape shape;
  for (const plan::PlannedTile& t : plan.tiles) {
    if (t.ring != ring) continue;
    ++shape.pieces;
    double inner = 1e9, outer = 0;
    for (const Eigen::Vector2d& uv : t.outline) {
      const Eigen::Vector3d p = plan.profile.point(uv, plan.tile_thickness_mm);
      shape.top_z = std::max(shape.top_z, p.z());
      shape.low_z = std::min(shape.low_z, p.z());
      inner = std::min(inner, uv.norm());
      outer = std::max(outer, uv.norm());
    }
    shape.rho_from = std::min(shape.rho_from, inner);
    shape.rho_to = std::max(shape.rho_to, outer);
    shape.width_sum += std::abs(geometry::signed_area(t.outline)) / std::max(1.0, outer - inner);
  }
  return shape;
}

// Pouring upright from each ring's upper edge: how deep, and how far resin runs. The way down goes along each
// ring's upright seams and, from ring to ring, half a piece sideways, because the seams are staggered.
std::vector<RingReport> ring_reports(const plan::Plan& plan, int rings_on) {
  int last = 0;
  for (const plan::PlannedTile& t : plan.tiles) last = std::max(last, t.ring);
  std::vector<RingReport> out;
  double lowest = 1e9, way = 0;
  for (int ring = 1; ring <= last; ++ring) {
    const RingShape shape = shape_of(plan, ring);
    if (shape.pieces == 0) continue;
    lowest = std::min(lowest, shape.low_z);
    way += shape.rho_to - shape.rho_from;
    if (ring > 1) way += shape.width_sum / shape.pieces / 2;
    out.push_back({ring, shape.top_z - lowest, way, ring <= rings_on});
  }
  return out;
}

void report_closing(const PourScene& scene, const std::vector<StationIndex>& rim, PourDocument& d) {
  const channels::ChannelNetwork& net = scene.net;
  const ByStation<char> still =
      channels::stranded_behind(net.links, rim, closed_stations(net, scene.fill_mm), net.channels.size())
          .reached;
  std::set<ChannelIndex> closing;
  for (const StationIndex s : net.stations.indices()) {
    if (!scene.reached[s] || still[s]) continue;
    d.build.closing_length_mm += net.stations[s].length_mm;
    d.build.closing_volume_ml += to_ml(net.stations[s].volume_mm3);
    if (net.stations[s].length_mm > 0) closing.insert(net.stations[s].channel);
  }
  for (const ChannelIndex c : closing) d.build.closing_seams.push_back(scene.tiles_of(c));
}

std::string mm(double length_mm) {
  return std::to_string(std::lround(length_mm)) + " mm";
}

// How far to build before the first pour, and why no further.
std::string first_pour_words(const PourDocument& d) {
  const BuildAdvice& b = d.build;
  const int rings = b.rings_before_first_pour.value_or(0);
  if (b.limited_by == BuildLimit::width) {
    return " Open the tight places, pour before ring " + std::to_string(rings + 1) +
           " goes on, or see that it leaves " + (b.closing_seams.size() == 1 ? "this seam" : "these seams") +
           " a way out.";
  }
  if (b.limited_by == BuildLimit::none) {
    return d.resin_name.empty() && d.slot_reach.empty()
               ? " By width alone the whole shell may be built before the first pour; how deep one pour may "
                 "be and "
                 "how far resin runs before it thickens is the data sheet's matter (--resin)."
               : " The whole shell may be built before the first pour.";
  }
  if (rings == 0) return " Even one ring is deeper than this resin allows in one pour: pour it in steps.";
  std::string out =
      " Build up to ring " + std::to_string(rings) +
      " before the first pour: higher, a pour to the open edge is deeper than the resin allows or "
      "sets on the way.";
  if (rings < d.coverage.rings_on) out += " It stands higher now: pour in steps.";
  return out;
}

std::string build_words(const PourDocument& d) {
  const BuildAdvice& b = d.build;
  std::string out =
      "The farthest place lies " + mm(b.deepest_reach_mm) + " along the seams from the nearest opening.";
  if (b.open_ring && b.closing_length_mm > kLittle_mm) {
    out += " If the next ring closed the open edge without a wide enough seam, " + mm(b.closing_length_mm) +
           " of seam could no longer be reached: " + joined(b.closing_seams) + ".";
  }
  if (!b.rings_before_first_pour || d.coverage.rings_on >= d.coverage.rings_planned) return out;
  std::string ways;
  for (const RingReport& r : b.rings) {
    if (r.ring < d.coverage.rings_on) continue;
    ways += (ways.empty() ? " " : "; ") + std::to_string(r.ring) + ": " + mm(r.reach_mm) + " and " +
            mm(r.depth_mm);
  }
  if (!ways.empty())
    out += " Down to the rim it is, along the seams and in depth, from the upper edge of ring" + ways + ".";
  return out + first_pour_words(d);
}

// Rings up to which a pour to the upper edge is neither too deep nor too far for the resin.
int rings_for_resin(const std::vector<RingReport>& rings, double fill_mm, const Resin& resin) {
  int last = 0;
  for (const RingReport& r : rings) {
    // Mean slope of the way down as the driving gradient of free draining at the smallest fill.
    const double slope = r.reach_mm > 0 ? std::min(1.0, r.depth_mm / r.reach_mm) : 1;
    const bool deep = resin.max_depth_mm && r.depth_mm > *resin.max_depth_mm;
    const bool far = r.reach_mm > slope * slot_reach(fill_mm, 0, resin).draining_mm;
    if (deep || far) break;
    last = r.ring;
  }
  return last;
}

// By widths alone the next ring may wait for a pour only where it would close the sole way in: how wide its
// own seams will be nobody has measured yet.
void limit_rings(const PourScene& scene, const std::optional<Resin>& resin, PourDocument& d) {
  BuildAdvice& b = d.build;
  if (b.rings.empty() || d.coverage.placed == 0) return;
  int rings = b.rings.back().ring;
  if (b.open_ring && b.closing_length_mm > kLittle_mm && d.coverage.rings_on < rings) {
    rings = d.coverage.rings_on;
    b.limited_by = BuildLimit::width;
  }
  const int for_resin = resin ? rings_for_resin(b.rings, scene.fill_mm, *resin) : rings;
  if (for_resin < rings) {
    rings = for_resin;
    b.limited_by = BuildLimit::resin;
  }
  b.rings_before_first_pour = rings;
}

}  // namespace

void report_build(const PourScene& scene, const std::optional<Resin>& resin, PourDocument& d) {
  BuildAdvice& b = d.build;
  std::vector<StationIndex> rim;
  for (const StationIndex s : scene.openings) {
    if (at_rim(scene, s)) rim.push_back(s);
    b.open_ring = b.open_ring || (scene.net.stations[s].at_end && !at_rim(scene, s));
  }
  std::vector<StationIndex> from = scene.openings;
  if (b.open_ring) {
    report_closing(scene, rim, d);
    std::erase_if(from, [&](StationIndex s) { return at_rim(scene, s); });  // resin comes in at the top
  }
  for (const double length : path_lengths_mm(scene.net, scene.reached, from)) {
    if (std::isfinite(length)) b.deepest_reach_mm = std::max(b.deepest_reach_mm, length);
  }
  b.rings = ring_reports(scene.plan, d.coverage.rings_on);
  limit_rings(scene, resin, d);
  if (d.coverage.placed > 0) b.words = build_words(d);
}

}  // namespace interstice::pour
