#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <queue>
#include <set>

#include "pour/pour_parts.h"

namespace interstice::pour {
namespace {

StrandedPlace place_of(const PourScene& scene, const channels::Blocked& blocked) {
  const channels::ChannelNetwork& net = scene.net;
  StrandedPlace p;
  p.behind = scene.tiles_of(blocked.channel);
  p.before = blocked.before;
  StationIndex narrowest = blocked.own.front();
  for (const StationIndex s : blocked.own) {
    if (net.stations[s].width_mm < net.stations[narrowest].width_mm) narrowest = s;
    p.own_length_mm += net.stations[s].length_mm;
    p.volume_ml += to_ml(net.stations[s].volume_mm3);
  }
  p.length_mm = p.own_length_mm;
  p.width_mm = net.stations[narrowest].width_mm;
  p.map = net.stations[narrowest].map;
  p.freed_length_mm = p.length_mm;
  p.freed_volume_ml = p.volume_ml;
  std::set<ChannelIndex> behind;
  for (const StationIndex s : blocked.behind) {
    p.length_mm += net.stations[s].length_mm;
    p.volume_ml += to_ml(net.stations[s].volume_mm3);
    if (net.stations[s].length_mm > 0) behind.insert(net.stations[s].channel);
  }
  for (const StationIndex s : blocked.next) {
    p.freed_length_mm += net.stations[s].length_mm;
    p.freed_volume_ml += to_ml(net.stations[s].volume_mm3);
  }
  for (const ChannelIndex c : behind) p.seams_behind.push_back(scene.tiles_of(c));
  return p;
}

void set_own_length(StrandedPlace& place, double own_mm) {
  place.length_mm += own_mm - place.own_length_mm;
  place.freed_length_mm += own_mm - place.own_length_mm;
  place.own_length_mm = own_mm;
}

// Seams that are open as measured but may be too tight: what each would strand if it alone proved so.
void add_possible(const PourScene& scene, const ByStation<ChannelIndex>& closed, const ByChannel<double>& u95,
                  PourDocument& document, std::vector<ChannelIndex>& channel_of_place) {
  for (const ChannelIndex c : scene.net.channels.indices()) {
    const channels::Channel& channel = scene.net.channels[c];
    if (!channel.fit_seam) continue;
    const seams::FitSeam& seam = scene.fit.seams[channel.fit_seam->value];
    const bool doubtful = seam.verdict == seams::Verdict::doubtful && seam.doubt != seams::Doubt::throat;
    if (!doubtful && seam.verdict != seams::Verdict::unseen) continue;
    if (closes_any(channel, c, closed)) continue;  // already listed by its measured width
    ByStation<ChannelIndex> group = closed;
    double narrowest = std::numeric_limits<double>::infinity(), own_mm = 0;
    for (const StationIndex s : channel.stations()) {
      const channels::Station& st = scene.net.stations[s];
      narrowest = std::min(narrowest, st.width_mm);
      if (seam.verdict != seams::Verdict::unseen || st.seen) continue;
      group[s] = c;
      own_mm += st.length_mm;
    }
    if (doubtful) {
      const double limit = (narrowest + scene.fill_mm + core::guard_band_mm(u95[c])) / 2;
      close_channel(scene.net, c, limit, group);
      own_mm = channel.expected_length_below_mm(scene.fill_mm, u95[c] / core::kCoverage);
    }
    const channels::ReachResult reach =
        channels::stranded_behind(scene.net.links, scene.openings, group, scene.net.channels.size());
    if (reach.blocked[c].own.empty()) continue;
    StrandedPlace p = place_of(scene, reach.blocked[c]);
    set_own_length(p, own_mm);
    p.certainty = seam.verdict == seams::Verdict::unseen ? Certainty::unseen : Certainty::doubtful;
    document.stranded.push_back(std::move(p));
    channel_of_place.push_back(c);
  }
}

// Below the face, what turning leaves: a place outside of that is turned away, filled or not.
bool kept(const PourScene& scene, const channels::ChannelCell& cell) {
  if (!scene.fit.finished_wall) return true;
  const double share =
      1 - (static_cast<double>(cell.depth) + 0.5) / static_cast<double>(channels::kDepthCells);
  const double depth = share * scene.net.stations[cell.station].depth_mm;
  return depth >= scene.fit.finished_wall->from_mm && depth <= scene.fit.finished_wall->to_mm;
}

void report_narrow_behind(const PourScene& scene, PourDocument& document) {
  const channels::ChannelNetwork& net = scene.net;
  ByChannel<double> volume(net.channels.size());
  ByStation<char> dry(net.stations.size(), 0);
  for (const CellIndex c : net.cells.cells.indices()) {
    const channels::ChannelCell& cell = net.cells.cells[c];
    if (!scene.reached[cell.station] || scene.reached_cell[c] || !kept(scene, cell)) continue;
    volume[net.stations[cell.station].channel] += to_ml(cell.volume_mm3);
    dry[cell.station] = 1;
  }
  ByChannel<double> length(net.channels.size());
  std::vector<std::optional<ChannelIndex>> channel_of(scene.fit.seams.size());
  for (const ChannelIndex c : net.channels.indices()) {
    const channels::Channel& channel = net.channels[c];
    if (channel.fit_seam) channel_of[channel.fit_seam->value] = c;
    for (const StationIndex s : channel.stations()) length[c] += dry[s] ? net.stations[s].length_mm : 0;
    document.pinched_length_mm += length[c];
    document.pinched_ml += volume[c];
  }
  for (std::size_t i = 0; i < scene.fit.seams.size(); ++i) {
    const seams::FitSeam& seam = scene.fit.seams[i];
    const bool pinched = seam.verdict == seams::Verdict::pinched;
    if (!pinched && seam.doubt != seams::Doubt::throat) continue;
    NarrowBehind n{seam.tiles,
                   seam.narrowest_mm.value_or(0),
                   seam.throat_mm.value_or(0),
                   seam.throat_u95_mm.value_or(0),
                   seam.throat_from,
                   pinched,
                   0,
                   0,
                   seam.map};
    if (channel_of[i]) n.length_mm = length[*channel_of[i]], n.volume_ml = volume[*channel_of[i]];
    document.narrow_behind.push_back(std::move(n));
  }
  std::stable_sort(document.narrow_behind.begin(), document.narrow_behind.end(),
                   [](const NarrowBehind& a, const NarrowBehind& b) { return a.throat_mm < b.throat_mm; });
}

}  // namespace

void close_channel(const channels::ChannelNetwork& net, ChannelIndex channel, double below_mm,
                   ByStation<ChannelIndex>& closed_by) {
  for (const StationIndex s : net.channels[channel].stations())
    closed_by[s] = net.stations[s].width_mm < below_mm ? channel : channels::kPassable;
}

bool closes_any(const channels::Channel& channel, ChannelIndex index,
                const ByStation<ChannelIndex>& closed_by) {
  for (const StationIndex s : channel.stations()) {
    if (closed_by[s] == index) return true;
  }
  return false;
}

ByStation<ChannelIndex> closed_stations(const channels::ChannelNetwork& net, double fill_mm) {
  ByStation<ChannelIndex> group(net.stations.size(), channels::kPassable);
  for (const ChannelIndex c : net.channels.indices()) close_channel(net, c, fill_mm, group);
  return group;
}

void report_stranded(const PourScene& scene, int threads, PourDocument& document) {
  const ByStation<ChannelIndex> closed = closed_stations(scene.net, scene.fill_mm);
  const channels::ReachResult reach =
      channels::stranded_behind(scene.net.links, scene.openings, closed, scene.net.channels.size());
  const ByChannel<double> u95 = widths_u95_mm(scene);
  std::vector<ChannelIndex> channel_of_place;
  for (const channels::Blocked& b : reach.blocked) {
    if (b.own.empty()) continue;
    StrandedPlace p = place_of(scene, b);
    set_own_length(p, scene.net.channels[b.channel].expected_length_below_mm(
                          scene.fill_mm, u95[b.channel] / core::kCoverage));
    document.stranded.push_back(std::move(p));
    channel_of_place.push_back(b.channel);
  }
  add_possible(scene, closed, u95, document, channel_of_place);
  add_ranges(scene, closed, u95, threads, channel_of_place, document.stranded);
  std::stable_sort(document.stranded.begin(), document.stranded.end(),
                   [](const StrandedPlace& a, const StrandedPlace& b) {
                     if ((a.certainty == Certainty::measured) != (b.certainty == Certainty::measured)) {
                       return a.certainty == Certainty::measured;
                     }
                     return a.length_mm > b.length_mm;
                   });
  for (const StationIndex s : scene.net.stations.indices()) {
    if (scene.reached[s]) continue;
    document.stranded_length_mm += scene.net.stations[s].length_mm;
    document.stranded_ml += to_ml(scene.net.stations[s].volume_mm3);
  }
  report_narrow_behind(scene, document);
}

void report_network(const PourScene& scene, PourDocument& document) {
  const channels::ChannelNetwork& net = scene.net;
  ByStation<double> width;
  for (const channels::Station& s : net.stations) width.push_back(std::max(0.0, s.width_mm));
  std::vector<channels::WidthLink> links = net.links;
  for (channels::WidthLink& l : links) l.width_mm = std::numeric_limits<double>::infinity();
  const ByStation<double> widest = channels::widest_paths(net.stations.size(), links, scene.openings, width);
  for (const ChannelIndex c : net.channels.indices()) {
    ChannelReport report;
    report.tiles = scene.tiles_of(c);
    report.listed = net.channels[c].fit_seam.has_value();
    for (const StationIndex s : net.channels[c].stations()) {
      const channels::Station& st = net.stations[s];
      report.length_mm += st.length_mm;
      report.volume_ml += to_ml(st.volume_mm3);
      report.points.push_back({st.s_mm, st.width_mm, widest[s], st.depth_mm, to_ml(st.volume_mm3), st.map,
                               st.seen, scene.reached[s] != 0, st.at_end});
    }
    document.seam_length_mm += report.length_mm;
    document.channels.push_back(std::move(report));
  }
  for (const channels::Junction& j : net.junctions) {
    JunctionReport report;
    for (const geometry::TileIndex t : j.tiles) report.tiles.push_back(scene.plan.tiles[t].label);
    report.map = j.map;
    report.volume_ml = to_ml(j.volume_mm3);
    document.junctions_ml += report.volume_ml;
    document.junctions.push_back(std::move(report));
  }
  std::set<ChannelIndex> seen;
  for (const StationIndex s : scene.openings) {
    if (!seen.insert(net.stations[s].channel).second) continue;
    document.openings.push_back({scene.tiles_at(s), net.stations[s].map, net.stations[s].at_end, 0});
  }
}

ByStation<double> path_lengths_mm(const channels::ChannelNetwork& net, const ByStation<char>& open,
                                  const std::vector<StationIndex>& sources) {
  ByStation<std::vector<StationIndex>> next(net.stations.size());
  for (const channels::WidthLink& l : net.links) {
    next[l.a].push_back(l.b);
    next[l.b].push_back(l.a);
  }
  ByStation<double> length(net.stations.size(), std::numeric_limits<double>::infinity());
  using Entry = std::pair<double, StationIndex>;
  std::priority_queue<Entry, std::vector<Entry>, std::greater<>> queue;
  for (const StationIndex s : sources) {
    if (!open[s]) continue;
    length[s] = 0;
    queue.emplace(0.0, s);
  }
  while (!queue.empty()) {
    const auto [d, s] = queue.top();
    queue.pop();
    if (d > length[s]) continue;
    for (const StationIndex t : next[s]) {
      if (!open[t]) continue;
      const double through = d + (net.stations[s].mouth - net.stations[t].mouth).norm();
      if (through >= length[t]) continue;
      length[t] = through;
      queue.emplace(through, t);
    }
  }
  return length;
}

bool at_rim(const PourScene& scene, StationIndex station) {
  const channels::Station& st = scene.net.stations[station];
  if (!st.at_end) return false;
  for (const geometry::TileIndex t : scene.net.channels[st.channel].tiles) {
    if (st.map.norm() < geometry::centroid(scene.plan.tiles[t].outline).norm()) return false;
  }
  for (const plan::PlannedTile& t :
       scene.plan.tiles) {  // nothing is planned further out: not a hole in the shell
    for (const Eigen::Vector2d& p : t.outline) {
      const bool same_side = p.dot(st.map) > 0.95 * p.norm() * st.map.norm();
      if (same_side && p.norm() > st.map.norm() + 15.0) return false;
    }
  }
  return true;
}

}  // namespace interstice::pour
