#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <map>
#include <numbers>
#include <queue>
#include <set>

#include "core/parallel.h"
#include "pour/pour_parts.h"
#include "pour/pour_words.h"

namespace interstice::pour {
namespace {

constexpr double kDrop_mm3 = 50;       // a drop, about 0.05 ml: not worth an opening
constexpr double kGoodEnough = 0.002;  // of the void: trapped air that needs no further pour
constexpr double kReserve =
    1.10;  // mixed more than poured: what stays in cup and tape (common practice, no source)

struct Sides {
  std::vector<double> azimuth_deg;
  std::vector<std::string> label;
};

// Pieces of the lowest ring on the form, by which a lean is named.
Sides sides_of(const PourScene& scene) {
  int lowest = std::numeric_limits<int>::max();
  for (std::size_t i = 0; i < scene.fit.tiles.size(); ++i) {
    if (scene.fit.tiles[i].state == plan::TileState::placed)
      lowest = std::min(lowest, scene.plan.tiles[geometry::TileIndex(i)].ring);
  }
  Sides sides;
  for (std::size_t i = 0; i < scene.fit.tiles.size(); ++i) {
    const plan::PlannedTile& t = scene.plan.tiles[geometry::TileIndex(i)];
    if (scene.fit.tiles[i].state != plan::TileState::placed || t.ring != lowest) continue;
    const Eigen::Vector2d c = geometry::centroid(t.outline);
    sides.azimuth_deg.push_back(std::atan2(c.y(), c.x()) * 180 / std::numbers::pi);
    sides.label.push_back(t.label);
  }
  return sides;
}

std::string side_at(const Sides& sides, double azimuth_deg) {
  std::string best;
  double least = 1e9;
  for (std::size_t i = 0; i < sides.label.size(); ++i) {
    const double d = std::abs(std::remainder(azimuth_deg - sides.azimuth_deg[i], 360.0));
    if (d < least) least = d, best = sides.label[i];
  }
  return best;
}

class PourReporter {
 public:
  PourReporter(const PourScene& scene, const std::optional<Resin>& resin, const PourSequence& sequence,
               PourDocument& document)
      : scene_(scene), net_(scene.net), resin_(resin), document_(document), sides_(sides_of(scene)) {
    wet_.assign(net_.cells.cells.size(), 0.0);
    crept_.assign(wet_.size(), 0);
    left_ = sequence.remaining;
  }

  void add_step(const PourStep& step) {
    const double depth = deepest(step.fill);
    const int lifts = resin_ && resin_->max_depth_mm
                          ? std::max(1, static_cast<int>(std::ceil(depth / *resin_->max_depth_mm - 1e-9)))
                          : 1;
    for (int lift = 1; lift <= lifts; ++lift) add_lift(step, lift, lifts, depth / lifts);
    for (const CellIndex c : wet_.indices()) wet_[c] += step.fill.filled[c];
    PourReport& last = document_.pours.back();
    report_pockets(last);
  }

 private:
  static double deepest(const Fill& fill) {
    double most = 0;
    for (const Opening& o : fill.openings) {
      if (o.volume_mm3 > 0) most = std::max(most, o.level_mm - o.lowest_mm);
    }
    return most;
  }

  // The share of a cell filled by this lift: levels are counted down from each opening, so the last lift is
  // full.
  double share(const Fill& fill, CellIndex cell, int lift, int lifts, double lift_mm) const {
    if (fill.filled[cell] <= 0) return 0;
    if (lifts == 1) return fill.filled[cell];
    const channels::Lump& body = net_.cells.cells[cell].body;
    const double top = opening_level_[cell];
    const auto below = [&](int k) {
      if (k >= lifts) return 1.0;
      const double level = std::min(top - (lifts - k) * lift_mm, fill.level_mm[cell]);
      const double whole = fraction_below(body, fill.up, fill.level_mm[cell]);
      return whole > 0 ? fraction_below(body, fill.up, level) / whole : 0.0;
    };
    return fill.filled[cell] * (below(lift) - (lift > 1 ? below(lift - 1) : 0.0));
  }

  void add_lift(const PourStep& step, int lift, int lifts, double lift_mm) {
    const Fill& fill = step.fill;
    double top = -std::numeric_limits<double>::infinity();
    for (const Opening& o : fill.openings) top = std::max(top, o.level_mm);
    opening_level_.assign(wet_.size(), top);
    PourReport p;
    p.tilt_deg = step.tilt.tilt_deg;
    p.azimuth_deg = std::remainder(step.tilt.azimuth_deg, 360.0);
    p.up = side_at(sides_, p.azimuth_deg);
    p.lift = lift, p.lifts = lifts;
    ByCell<double> part(wet_.size());
    for (const CellIndex c : part.indices()) {
      part[c] = share(fill, c, lift, lifts, lift_mm);
      p.volume_ml += to_ml(part[c] * net_.cells.cells[c].volume_mm3);
    }
    p.deepest_mm = lifts > 1 ? lift_mm : deepest(fill);
    p.creep_ml = to_ml(creep_mm3(scene_, part, crept_)) + document_.rim_ml * rim_share(part);
    set_mix(p);
    set_prop(p);
    for (const Opening& o : fill.openings) {
      const StationIndex s = net_.cells.cells[o.cell].station;
      p.inlets.push_back(
          {scene_.tiles_at(s), net_.stations[s].map, !o.port.mouth, to_ml(o.volume_mm3), scene_.place_at(s)});
    }
    list_seams(step, p);
    report_times(step, part, p);
    report_pricks(step, part, p);
    document_.pours.push_back(std::move(p));
  }

  // Of the seams' ends at the rim, those that resin comes to for the first time.
  double rim_share(const ByCell<double>& part) {
    const std::size_t before = rim_wet_.size();
    for (const CellIndex c : part.indices()) {
      const StationIndex s = net_.cells.cells[c].station;
      if (part[c] > 1e-6 && net_.stations[s].at_end && at_rim(scene_, s)) rim_wet_.insert(s);
    }
    std::size_t all = 0;
    for (const StationIndex s : net_.stations.indices()) all += net_.stations[s].at_end && at_rim(scene_, s);
    return all > 0 ? static_cast<double>(rim_wet_.size() - before) / static_cast<double>(all) : 0;
  }

  // Whole millilitres and grams, rounded up, so that every place says the same figure.
  void set_mix(PourReport& p) const {
    p.mix_ml = std::ceil(kReserve * (p.volume_ml + p.creep_ml) - 1e-9);
    if (!resin_) return;
    p.mix_g = std::ceil(p.mix_ml * resin_->density_g_ml - 1e-9);
    p.set_h = resin_->set_h;
    const auto split = [](const std::array<double, 2>& parts, double whole) {
      return std::array<double, 2>{whole * parts[0] / (parts[0] + parts[1]),
                                   whole * parts[1] / (parts[0] + parts[1])};
    };
    if (resin_->mix_by_volume) p.parts_ml = split(*resin_->mix_by_volume, p.mix_ml);
    if (resin_->mix_by_mass) p.parts_g = split(*resin_->mix_by_mass, *p.mix_g);
  }

  // Standing on its rim, leaned by an angle, the raised side of the rim stands this high: outer radius of the rim.
  void set_prop(PourReport& p) const {
    constexpr double kLevel_deg = 0.5, kSteepest_deg = 60;  // beyond, it lies on its side rather than stands
    if (p.tilt_deg < kLevel_deg || p.tilt_deg > kSteepest_deg) return;
    const double radius = scene_.plan.profile.points().back().x() + scene_.plan.tile_thickness_mm;
    p.prop_mm = 2 * radius * std::sin(p.tilt_deg * std::numbers::pi / 180);
  }

  // For the whole pour, whatever the step of depth: resin runs past all of them from the start.
  void list_seams(const PourStep& step, PourReport& p) const {
    const ByCell<double>& part = step.fill.filled;
    std::set<ChannelIndex> filled, wet;
    std::map<ChannelIndex, StationIndex> ends;  // a wet end of each
    ByStation<char> wet_station(net_.stations.size(), 0);
    for (const CellIndex c : part.indices()) {
      if (part[c] <= 1e-6) continue;
      const StationIndex s = net_.cells.cells[c].station;
      wet_station[s] = 1;
      filled.insert(net_.stations[s].channel);
      if (net_.stations[s].at_end) ends.try_emplace(net_.stations[s].channel, s);
    }
    wet = filled;
    for (const channels::WidthLink& l : net_.links) {  // resin seeps into the tight ones beside
      if (wet_station[l.a]) wet.insert(net_.stations[l.b].channel);
      if (wet_station[l.b]) wet.insert(net_.stations[l.a].channel);
    }
    const auto listed = [&](ChannelIndex c) { return net_.channels[c].fit_seam.has_value(); };
    for (const ChannelIndex c : wet) {  // where only corners meet, the neighbours' tape covers it
      if (listed(c)) p.tape.push_back(scene_.tiles_of(c));
    }
    for (const ChannelIndex c : filled) {
      if (listed(c)) p.fills.push_back(scene_.tiles_of(c));
    }
    std::set<ChannelIndex> open;  // ends that are inlet or vent in this pour
    for (const Opening& o : step.fill.openings) {
      if (!o.port.mouth) open.insert(net_.stations[net_.cells.cells[o.cell].station].channel);
    }
    for (const CellIndex c : step.fill.vents) {
      const StationIndex s = net_.cells.cells[c].station;
      const ChannelIndex channel = net_.stations[s].channel;
      if (!wet_station[s] || !open.insert(channel).second) continue;
      p.vents.push_back({scene_.tiles_of(channel), net_.stations[s].map, true, 0, scene_.place_at(s)});
    }
    for (const auto& [channel, s] : ends) {
      if (open.contains(channel)) continue;
      p.dam.push_back({scene_.tiles_of(channel), net_.stations[s].map, true, 0, scene_.place_at(s)});
    }
  }

  // How long resin needs to every place: free draining along the quickest way from its opening, driven by the
  // mean slope of that way, but never by less than the head that half the channel's own depth gives.
  void report_times(const PourStep& step, const ByCell<double>& part, PourReport& p) const {
    if (!resin_) return;
    const ByStation<Way> ways = quickest_ways(step);
    ByStation<char> filled(net_.stations.size(), 0);
    for (const CellIndex c : part.indices()) {
      if (part[c] > 1e-6) filled[net_.cells.cells[c].station] = 1;
    }
    const double mu = resin_->viscosity_mpa_s / 1000, weight = resin_->density_g_ml * 1000 * kGravity_m_s2;
    p.slowest_min = 0;
    for (const StationIndex s : filled.indices()) {
      const channels::Station& st = net_.stations[s];
      if (!filled[s] || !std::isfinite(ways[s].resistance) || ways[s].length_mm <= 0) continue;
      const double head_mm = std::max(ways[s].level_mm - st.mouth.dot(step.fill.up), st.depth_mm / 2);
      const double slope = std::min(1.0, head_mm / ways[s].length_mm);
      const double fluidity = 12 * ways[s].resistance * 1000 / (weight * slope);  // 1/mm to 1/m
      const double minutes = time_for_fluidity_s(fluidity, mu, resin_->doubling_min * 60) / 60;
      if (minutes > resin_->pot_life_min) p.time_limited_length_mm += st.length_mm;
      if (std::isfinite(minutes)) p.slowest_min = std::max(*p.slowest_min, minutes);
    }
  }

  struct Way {
    double resistance = std::numeric_limits<double>::infinity();  // sum of length / width^2, 1/mm
    double length_mm = 0, level_mm = 0;                           // the level is that of its opening
  };
  ByStation<Way> quickest_ways(const PourStep& step) const {
    ByStation<std::vector<StationIndex>> next(net_.stations.size());
    for (const channels::WidthLink& l : net_.links) {
      next[l.a].push_back(l.b);
      next[l.b].push_back(l.a);
    }
    ByStation<Way> ways(net_.stations.size());
    using Entry = std::pair<double, StationIndex>;
    std::priority_queue<Entry, std::vector<Entry>, std::greater<>> queue;
    for (const Opening& o : step.fill.openings) {
      const StationIndex s = net_.cells.cells[o.cell].station;
      ways[s] = {0, 0, o.level_mm};
      queue.emplace(0.0, s);
    }
    while (!queue.empty()) {
      const auto [resistance, s] = queue.top();
      queue.pop();
      if (resistance > ways[s].resistance) continue;
      for (const StationIndex t : next[s]) {
        if (!scene_.reached[t]) continue;
        const double length = (net_.stations[s].mouth - net_.stations[t].mouth).norm();
        const double width =
            std::min({net_.stations[s].width_mm, net_.stations[t].width_mm, 2 * scene_.fill_mm});
        const double through = resistance + length / (width * width);
        if (through >= ways[t].resistance) continue;
        ways[t] = {through, ways[s].length_mm + length, ways[s].level_mm};
        queue.emplace(through, t);
      }
    }
    return ways;
  }

  void report_pricks(const PourStep& step, const ByCell<double>& part, PourReport& p) {
    if (p.lift == p.lifts) p.pricks = pocket_pricks(scene_, step, 2 * kDrop_mm3, left_);
    if (!document_.bubble_limit_mm) return;
    const DeadEnds ends = dead_ends(scene_, step, part, *document_.bubble_limit_mm);
    p.counterflow_length_mm = ends.length_mm;
    p.pricks.insert(p.pricks.end(), ends.pricks.begin(), ends.pricks.end());
  }

  void report_pockets(PourReport& p) const {
    std::map<ChannelIndex, double> left;  // mm3
    std::map<ChannelIndex, std::pair<double, StationIndex>> worst;
    for (const CellIndex c : wet_.indices()) {
      const channels::ChannelCell& cell = net_.cells.cells[c];
      if (!scene_.reached_cell[c]) continue;
      const double air = (1 - std::min(1.0, wet_[c])) * cell.volume_mm3;
      p.trapped_ml += to_ml(air);
      const ChannelIndex channel = net_.stations[cell.station].channel;
      left[channel] += air;
      auto& w = worst[channel];
      if (air > w.first) w = {air, cell.station};
    }
    for (const auto& [channel, air] : left) {
      if (air < 2 * kDrop_mm3) continue;
      const StationIndex s = worst[channel].second;
      p.pockets.push_back({scene_.tiles_of(channel), net_.stations[s].map, to_ml(air), scene_.place_at(s)});
    }
    std::stable_sort(p.pockets.begin(), p.pockets.end(),
                     [](const Pocket& a, const Pocket& b) { return a.volume_ml > b.volume_ml; });
  }

  const PourScene& scene_;
  const channels::ChannelNetwork& net_;
  const std::optional<Resin>& resin_;
  PourDocument& document_;
  Sides sides_;
  ByCell<double> wet_;              // fraction filled so far
  ByCell<double> left_;             // that stays empty after all pours, less what pricks let out
  std::set<StationIndex> rim_wet_;  // at the rim that resin has come to
  ByCell<char> crept_;              // too narrow to fill into which resin creeps
  ByCell<double> opening_level_;
};

}  // namespace

void report_pours(const PourScene& scene, const std::optional<Resin>& resin, const PourOptions& options,
                  PourDocument& document) {
  const channels::ChannelNetwork& net = scene.net;
  ByCell<char> usable, may_open;
  double fillable = 0;
  for (const CellIndex c : net.cells.cells.indices()) {
    const channels::ChannelCell& cell = net.cells.cells[c];
    const bool reached = scene.reached_cell[c] != 0;
    usable.push_back(reached);
    may_open.push_back(reached && net.stations[cell.station].width_mm >= scene.fill_mm &&
                       !cell.ports.empty());
    if (reached) fillable += cell.volume_mm3;
  }
  if (fillable <= kDrop_mm3) return;
  const Sides sides = sides_of(scene);
  SearchOptions search;
  search.candidates = tilt_grid(sides.azimuth_deg, options.tilt_step_deg);
  search.leave_mm3 = kGoodEnough * fillable;
  search.smallest_mm3 = 2 * kDrop_mm3;
  search.beam = 12;
  search.refine_tilt_deg = options.tilt_step_deg / 3;
  search.refine_azimuth_deg =
      sides.azimuth_deg.empty() ? 0 : 180.0 / static_cast<double>(sides.azimuth_deg.size());
  search.threads = options.threads;
  const PourSequence sequence = search_pours(net.cells, usable, may_open, search);
  PourReporter reporter(scene, resin, sequence, document);
  for (const PourStep& step : sequence.steps) reporter.add_step(step);
  document.trapped_ml_after = to_ml(sequence.left_mm3);
  for (std::size_t i = 0; i < document.pours.size(); ++i)
    document.pours[i].words = words_for_pour(document, i);
}

void report_slot_flow(const std::optional<Resin>& resin, PourDocument& document) {
  if (!resin) return;
  document.bubble_limit_mm =
      1000 * bubble_lock_diameter_m(resin->surface_tension_mn_m / 1000, resin->density_g_ml * 1000);
  for (const double width : {0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0}) {
    document.slot_reach.push_back(slot_reach(width, 15.0, *resin));
  }
}

}  // namespace interstice::pour
