#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "voids/coverage.h"
#include "voids/pour_parts.h"

namespace interstice {
namespace {

struct RingShape {
  double top_z = -1e9, low_z = 1e9;   // of the outer faces as planned
  double rho_from = 1e9, rho_to = 0;  // on the map
  double width_sum = 0;               // of the pieces along the ring
  int pieces = 0;
};

RingShape shape_of(const Plan& plan, int ring) {
  RingShape shape;
  for (const PlannedTile& t : plan.tiles) {
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
    shape.width_sum += std::abs(signed_area(t.outline)) / std::max(1.0, outer - inner);
  }
  return shape;
}

// Pouring upright from each ring's upper edge: how deep, and how far resin runs. The way down goes along each
// ring's upright seams and, from ring to ring, half a piece sideways, because the seams are staggered.
std::vector<RingReport> ring_reports(const Plan& plan, int rings_on) {
  int last = 0;
  for (const PlannedTile& t : plan.tiles) last = std::max(last, t.ring);
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

void report_closing(const PourScene& scene, const std::vector<std::size_t>& rim, PourDocument& d) {
  const ChannelNetwork& net = scene.net;
  const ClosedStations closed = closed_stations(net, scene.fill_mm);
  const std::vector<char> still =
      stranded_behind(net.stations.size(), net.links, rim, closed.group, closed.channel_of_group.size())
          .reached;
  std::set<std::size_t> channels;
  for (std::size_t s = 0; s < net.stations.size(); ++s) {
    if (!scene.reached[s] || still[s]) continue;
    d.build.closing_length_mm += net.stations[s].length_mm;
    d.build.closing_volume_ml += to_ml(net.stations[s].volume_mm3);
    if (net.stations[s].length_mm > 0) channels.insert(net.stations[s].channel);
  }
  for (const std::size_t c : channels) d.build.closing_seams.push_back(scene.tiles_of(c));
}

std::string build_words(const PourDocument& d) {
  const BuildAdvice& b = d.build;
  std::string out = "The farthest place lies " + std::to_string(std::lround(b.deepest_reach_mm)) +
                    " mm along the seams from the nearest opening.";
  if (b.open_ring && b.closing_length_mm > 0.5) {
    out += " If the next ring closed the open edge without a wide enough seam, " +
           std::to_string(std::lround(b.closing_length_mm)) +
           " mm of seam could no longer be reached: " + joined(b.closing_seams) + ".";
  }
  if (!b.rings_before_first_pour || d.coverage.rings_on >= d.coverage.rings_planned) return out;
  const int rings = *b.rings_before_first_pour;
  if (rings == 0) {
    out += " Even one ring is deeper than this resin allows in one pour: pour it in steps.";
  } else if (!b.rings.empty() && rings >= b.rings.back().ring) {
    out += " The whole shell may be built before the first pour.";
  } else {
    out += " Build up to ring " + std::to_string(rings) +
           " before the first pour: higher, a pour to the open edge is deeper than the resin allows or sets "
           "on the way.";
  }
  return out;
}

}  // namespace

void report_build(const PourScene& scene, const std::optional<Resin>& resin, PourDocument& d) {
  BuildAdvice& b = d.build;
  std::vector<std::size_t> rim;
  for (const std::size_t s : scene.openings) {
    if (at_rim(scene, s)) rim.push_back(s);
    b.open_ring = b.open_ring || (scene.net.stations[s].at_end && !at_rim(scene, s));
  }
  std::vector<std::size_t> from = scene.openings;
  if (b.open_ring) {
    report_closing(scene, rim, d);
    std::erase_if(from, [&](std::size_t s) { return at_rim(scene, s); });  // resin comes in at the top
  }
  for (const double length : path_lengths_mm(scene.net, scene.reached, from)) {
    if (std::isfinite(length)) b.deepest_reach_mm = std::max(b.deepest_reach_mm, length);
  }
  b.rings = ring_reports(scene.plan, d.coverage.rings_on);
  if (resin) {
    int rings = 0;
    for (const RingReport& r : b.rings) {
      // Mean slope of the way down as the driving gradient of free draining at the smallest fill.
      const double slope = r.reach_mm > 0 ? std::min(1.0, r.depth_mm / r.reach_mm) : 1;
      const bool deep = resin->max_depth_mm && r.depth_mm > *resin->max_depth_mm;
      const bool far = r.reach_mm > slope * slot_reach(scene.fill_mm, 0, *resin).draining_mm;
      if (deep || far) break;
      rings = r.ring;
    }
    b.rings_before_first_pour = rings;
  }
  b.words = build_words(d);
}

}  // namespace interstice
