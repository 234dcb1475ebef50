#include "voids/channel_network.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <string>

#include "core/parallel.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kStation_mm = 2.0;
constexpr std::size_t kDepthCells = 4;
constexpr std::size_t kNoStation = static_cast<std::size_t>(-1);
constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr double kLeastDoorway_mm2 = 1.0;  // two boxes: less is a grazing contact of the grid
constexpr double kLeastEnd_mm2 = 4.0;

using Pair = std::pair<std::uint16_t, std::uint16_t>;

// Stations of one channel before its void is known, and the mouth's midpoints that decide which void is
// whose.
struct ChannelDraft {
  Channel channel;
  std::vector<Vector3d> points;
  std::vector<std::size_t> station_of_point;
};

Pair pair_of(const VoidGrid::Column& c) {
  return {std::min(c.first, c.second), std::max(c.first, c.second)};
}

std::vector<SeamSample> computed_samples(const ShellSolids& shell, std::size_t a, std::size_t b) {
  std::vector<SeamSample> out;
  if (!shell.pieces[a] || !shell.pieces[b]) return out;
  for (const MouthSample& m : mouth_along(*shell.pieces[a], *shell.pieces[b])) {
    out.push_back({m.s_mm, m.width_mm, 0.0, m.on_a, m.on_b});
  }
  return out;
}

class Builder {
 public:
  Builder(const FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid, double fill, int threads)
      : fit_(fit), shell_(shell), grid_(grid), fill_(fill), threads_(threads) {}

  ChannelNetwork build() {
    find_pairs();
    draft_channels();
    assign_columns();
    fill_cells();
    link_stations();
    find_junctions();
    return std::move(net_);
  }

 private:
  bool has_void(std::size_t i, std::size_t j) const {
    for (std::size_t k = 0; k < grid_.layers(); ++k) {
      if (grid_.void_fraction(i, j, k) > 0) return true;
    }
    return false;
  }
  std::size_t flat(std::size_t i, std::size_t j) const { return j * grid_.side() + i; }
  bool open(std::size_t i, std::size_t j, std::size_t k) const {
    return !grid_.wood(i, j, k) && grid_.void_fraction(i, j, k) > 0;
  }

  void find_pairs();
  void draft_channels();
  void add_stations(ChannelDraft& draft, const std::vector<SeamSample>& samples);
  Station station_of(const std::vector<SeamSample>& samples, std::size_t from, std::size_t to) const;
  double own_length(const SeamSample& sample) const;
  void assign_columns();
  void fill_cells();
  void gather_boxes(std::vector<LumpSum>& bodies);
  void gather_faces(std::map<std::pair<std::size_t, std::size_t>, LumpSum>& doors,
                    std::vector<LumpSum>& mouths, std::vector<LumpSum>& ends);
  void link_stations();
  void find_junctions();

  const FitDocument& fit_;
  const ShellSolids& shell_;
  const VoidGrid& grid_;
  double fill_;
  int threads_;
  ChannelNetwork net_;
  std::map<Pair, std::size_t> draft_of_pair_;
  std::vector<ChannelDraft> drafts_;
  std::vector<char> void_column_;
  std::vector<std::size_t> station_;  // of each column
  std::vector<std::size_t> cell_of_;  // station x depth -> cell
};

void Builder::find_pairs() {
  const std::size_t n = grid_.side();
  void_column_.assign(n * n, 0);
  parallel_for(n, threads_, [&](std::size_t j) {
    for (std::size_t i = 0; i < n; ++i) {
      const VoidGrid::Column& c = grid_.column(i, j);
      void_column_[flat(i, j)] = c.second != VoidGrid::kNone && has_void(i, j);
    }
  });
  for (std::size_t j = 0; j < n; ++j) {
    for (std::size_t i = 0; i < n; ++i) {
      if (void_column_[flat(i, j)]) draft_of_pair_.try_emplace(pair_of(grid_.column(i, j)), 0);
    }
  }
}

void Builder::draft_channels() {
  std::map<std::string, std::size_t> index;
  for (std::size_t i = 0; i < fit_.tiles.size(); ++i) index[fit_.tiles[i].label] = i;
  std::map<Pair, std::size_t> listed;
  for (std::size_t s = 0; s < fit_.seams.size(); ++s) {
    const auto a = index.find(fit_.seams[s].tiles[0]), b = index.find(fit_.seams[s].tiles[1]);
    if (a == index.end() || b == index.end() || !shell_.pieces[a->second] || !shell_.pieces[b->second])
      continue;
    const auto x = static_cast<std::uint16_t>(a->second), y = static_cast<std::uint16_t>(b->second);
    const Pair pair(std::min(x, y), std::max(x, y));
    listed[pair] = s;
    draft_of_pair_.try_emplace(pair, 0);
  }
  std::vector<Pair> pairs;
  for (auto& [pair, at] : draft_of_pair_) at = pairs.size(), pairs.push_back(pair);
  std::vector<std::vector<SeamSample>> samples(pairs.size());
  parallel_for(pairs.size(), threads_, [&](std::size_t p) {
    const auto seam = listed.find(pairs[p]);
    if (seam != listed.end()) samples[p] = fit_.seams[seam->second].samples;
    if (samples[p].empty()) samples[p] = computed_samples(shell_, pairs[p].first, pairs[p].second);
  });
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    ChannelDraft draft;
    draft.channel.tiles = {TileIndex(pairs[p].first), TileIndex(pairs[p].second)};
    if (const auto seam = listed.find(pairs[p]); seam != listed.end()) draft.channel.fit_seam = seam->second;
    add_stations(draft, samples[p]);
    drafts_.push_back(std::move(draft));
  }
}

// Where a third piece is nearer than the two are to each other, the length is the junction's.
double Builder::own_length(const SeamSample& sample) const {
  const Vector2d uv = shell_.form.locate((sample.a + sample.b) / 2).uv;
  const double middle = static_cast<double>(grid_.side() - 1) / 2;
  const auto i = std::lround(uv.x() / grid_.step_mm() + middle),
             j = std::lround(uv.y() / grid_.step_mm() + middle);
  const auto n = static_cast<long>(grid_.side());
  if (sample.width_mm < fill_ || i < 0 || j < 0 || i >= n || j >= n) return 1;
  const double third = grid_.column(static_cast<std::size_t>(i), static_cast<std::size_t>(j)).d3;
  return third < 0.75 * sample.width_mm ? 0 : 1;
}

Station Builder::station_of(const std::vector<SeamSample>& samples, std::size_t from, std::size_t to) const {
  Station st;
  st.width_mm = kInfinity;
  double share = 0;
  for (std::size_t k = from; k < to; ++k) {
    const SeamSample& p = samples[k];
    st.width_mm = std::min(st.width_mm, p.width_mm);
    st.mouth += (p.a + p.b) / (2.0 * static_cast<double>(to - from));
    st.seen = st.seen && p.sd_mm >= 0;
    const double before = k > 0 ? samples[k].s_mm - samples[k - 1].s_mm : 0;
    const double after = k + 1 < samples.size() ? samples[k + 1].s_mm - samples[k].s_mm : 0;
    // A pause in the samples is a stretch wider than a seam: it is nobody's length.
    const double own = own_length(p) * (std::clamp(before, 0.0, 1.0) + std::clamp(after, 0.0, 1.0)) / 2;
    share += own;
    if (p.width_mm < fill_) st.tight_length_mm += own;
  }
  st.s_mm = (samples[from].s_mm + samples[to - 1].s_mm) / 2;
  st.length_mm = share;
  st.map = shell_.form.locate(st.mouth).uv;
  return st;
}

void Builder::add_stations(ChannelDraft& draft, const std::vector<SeamSample>& samples) {
  draft.channel.first = net_.stations.size();
  for (std::size_t from = 0; from < samples.size();) {
    std::size_t to = from;
    while (to < samples.size() && samples[to].s_mm < samples[from].s_mm + kStation_mm &&
           (to == from || samples[to].s_mm - samples[to - 1].s_mm < kStation_mm)) {
      ++to;
    }
    Station st = station_of(samples, from, to);
    st.channel = net_.channels.size();
    for (std::size_t k = from; k < to; ++k) {
      draft.points.push_back((samples[k].a + samples[k].b) / 2);
      draft.station_of_point.push_back(net_.stations.size());
    }
    net_.stations.push_back(st);
    from = to;
  }
  if (samples.empty()) {  // only a corner of the void lies between these two
    Station st;
    st.width_mm = kInfinity;
    st.channel = net_.channels.size();
    net_.stations.push_back(st);
  }
  draft.channel.count = net_.stations.size() - draft.channel.first;
  net_.channels.push_back(draft.channel);
}

void Builder::assign_columns() {
  const std::size_t n = grid_.side();
  station_.assign(n * n, kNoStation);
  parallel_for(n, threads_, [&](std::size_t j) {
    for (std::size_t i = 0; i < n; ++i) {
      if (!void_column_[flat(i, j)]) continue;
      const VoidGrid::Column& column = grid_.column(i, j);
      const ChannelDraft& draft = drafts_[draft_of_pair_.at(pair_of(column))];
      Vector3d base, normal;
      grid_.base(grid_.map_at(i, j), base, normal);
      const Vector3d top = base + column.tape_mm * normal;
      std::size_t station = draft.channel.first;
      double best = kInfinity;
      for (std::size_t k = 0; k < draft.points.size(); ++k) {
        const double d = (draft.points[k] - top).squaredNorm();
        if (d < best) best = d, station = draft.station_of_point[k];
      }
      station_[flat(i, j)] = station;
    }
  });
}

void Builder::gather_boxes(std::vector<LumpSum>& bodies) {
  const std::size_t n = grid_.side();
  std::vector<LumpSum> mouths(net_.stations.size());
  std::vector<double> area(net_.stations.size()), depth(net_.stations.size());
  for (std::size_t j = 0; j < n; ++j) {
    for (std::size_t i = 0; i < n; ++i) {
      const std::size_t st = station_[flat(i, j)];
      if (st == kNoStation) continue;
      const double tape = grid_.column(i, j).tape_mm;
      area[st] += 1;
      depth[st] += tape;
      for (std::size_t k = 0; k < grid_.layers(); ++k) {
        const double f = grid_.void_fraction(i, j, k);
        if (f <= 0) continue;
        const auto g = std::min(
            kDepthCells - 1, static_cast<std::size_t>((static_cast<double>(k) + 0.5) * VoidGrid::kLayer_mm /
                                                      tape * static_cast<double>(kDepthCells)));
        const Vector3d p = grid_.box_centre(i, j, k);
        const double volume = f * grid_.box_volume_mm3(i, j, k);
        bodies[st * kDepthCells + g].add(p, volume);
        net_.stations[st].volume_mm3 += volume;
        if (g + 1 == kDepthCells) mouths[st].add(p, volume);
      }
    }
  }
  for (std::size_t s = 0; s < net_.stations.size(); ++s) {
    Station& st = net_.stations[s];
    if (area[s] > 0) st.depth_mm = depth[s] / area[s];
    net_.void_volume_mm3 += st.volume_mm3;
    if (st.width_mm == kInfinity && st.mouth.isZero()) {
      const Lump lump = (mouths[s].weight() > 0 ? mouths[s] : bodies[s * kDepthCells]).lump();
      st.mouth = lump.centre;
      st.map = shell_.form.locate(st.mouth).uv;
    }
  }
}

void Builder::gather_faces(std::map<std::pair<std::size_t, std::size_t>, LumpSum>& doors,
                           std::vector<LumpSum>& mouths, std::vector<LumpSum>& ends) {
  const std::size_t n = grid_.side();
  const auto cell_at = [&](std::size_t i, std::size_t j, std::size_t k) {
    const auto g = std::min(kDepthCells - 1,
                            static_cast<std::size_t>((static_cast<double>(k) + 0.5) * VoidGrid::kLayer_mm /
                                                     grid_.column(i, j).tape_mm * kDepthCells));
    return station_[flat(i, j)] * kDepthCells + g;
  };
  const auto meet = [&](std::size_t a, std::size_t b, const Vector3d& p, double area) {
    if (a != b) doors[{std::min(a, b), std::max(a, b)}].add(p, area);
  };
  for (std::size_t j = 1; j + 1 < n; ++j) {
    for (std::size_t i = 1; i + 1 < n; ++i) {
      if (station_[flat(i, j)] == kNoStation) continue;
      const Vector2d s = grid_.scale(grid_.map_at(i, j).norm(), grid_.column(i, j).tape_mm / 2);
      const double side_mm2 = grid_.step_mm() * std::sqrt(s.x() * s.y()) * VoidGrid::kLayer_mm;
      const double top_mm2 = grid_.step_mm() * grid_.step_mm() * s.x() * s.y();
      for (std::size_t k = 0; k < grid_.layers(); ++k) {
        if (!open(i, j, k)) continue;
        const std::size_t cell = cell_at(i, j, k);
        const Vector3d p = grid_.box_centre(i, j, k);
        const std::size_t around[4][2] = {{i + 1, j}, {i, j + 1}, {i - 1, j}, {i, j - 1}};
        for (int side = 0; side < 4; ++side) {
          const auto [x, y] = around[side];
          const Vector3d q = (p + grid_.box_centre(x, y, k)) / 2;
          if (grid_.outside(x, y, k)) ends[cell].add(q, side_mm2);
          if (side < 2 && station_[flat(x, y)] != kNoStation && open(x, y, k))
            meet(cell, cell_at(x, y, k), q, side_mm2);
        }
        if (k + 1 < grid_.layers() && open(i, j, k + 1)) {
          meet(cell, cell_at(i, j, k + 1), (p + grid_.box_centre(i, j, k + 1)) / 2, top_mm2);
        } else if (!grid_.column(i, j).in_arris) {  // the tape is next
          Vector3d base, normal;
          grid_.base(grid_.map_at(i, j), base, normal);
          mouths[cell].add(base + grid_.column(i, j).tape_mm * normal, top_mm2);
        }
      }
    }
  }
}

void Builder::fill_cells() {
  std::vector<LumpSum> bodies(net_.stations.size() * kDepthCells), mouths(bodies.size()), ends(bodies.size());
  std::map<std::pair<std::size_t, std::size_t>, LumpSum> doors;
  gather_boxes(bodies);
  gather_faces(doors, mouths, ends);
  cell_of_.assign(bodies.size(), kNoStation);
  std::vector<double> end_area(net_.stations.size());
  for (std::size_t c = 0; c < bodies.size(); ++c) {
    if (bodies[c].weight() <= 0) continue;
    cell_of_[c] = net_.cells.cells.size();
    ChannelCell cell;
    cell.body = bodies[c].lump();
    cell.volume_mm3 = bodies[c].weight();
    cell.station = c / kDepthCells;
    if (mouths[c].weight() > 0) cell.ports.push_back({mouths[c].lump(), true});
    if (ends[c].weight() > 0) cell.ports.push_back({ends[c].lump(), false});
    end_area[cell.station] += ends[c].weight();
    net_.cells.cells.push_back(std::move(cell));
  }
  for (std::size_t s = 0; s < net_.stations.size(); ++s)
    net_.stations[s].at_end = end_area[s] >= kLeastEnd_mm2;
  for (ChannelCell& cell : net_.cells.cells) {
    if (!net_.stations[cell.station].at_end)
      std::erase_if(cell.ports, [](const Port& p) { return !p.mouth; });
  }
  for (const auto& [pair, sum] : doors) {
    if (sum.weight() < kLeastDoorway_mm2) continue;
    net_.cells.doorways.push_back({cell_of_[pair.first], cell_of_[pair.second], sum.lump(), sum.weight()});
  }
  net_.cells.index_doorways();
}

void Builder::link_stations() {
  std::map<std::pair<std::size_t, std::size_t>, double> area;
  for (const Doorway& d : net_.cells.doorways) {
    const std::size_t a = net_.cells.cells[d.a].station, b = net_.cells.cells[d.b].station;
    if (a != b) area[{std::min(a, b), std::max(a, b)}] += d.area_mm2;
  }
  for (const Channel& c : net_.channels) {  // a channel holds together even where the wood touches
    for (std::size_t k = 1; k < c.count; ++k) area.try_emplace({c.first + k - 1, c.first + k}, 0.0);
  }
  for (const auto& [pair, ignored] : area) {
    const auto [a, b] = pair;
    net_.links.push_back({a, b, std::min(net_.stations[a].width_mm, net_.stations[b].width_mm)});
  }
}

void Builder::find_junctions() {
  const std::size_t n = grid_.side();
  const auto in_junction = [&](std::size_t at) {
    const VoidGrid::Column& c = grid_.column(at % n, at / n);
    return station_[at] != kNoStation && c.third != VoidGrid::kNone && c.d3 < c.d1 + c.d2;
  };
  std::vector<char> seen(n * n, 0);
  for (std::size_t start = 0; start < n * n; ++start) {
    if (seen[start] || !in_junction(start)) continue;
    std::vector<std::size_t> columns{start};
    seen[start] = 1;
    std::map<std::uint16_t, int> pieces;
    LumpSum top;
    Junction junction;
    for (std::size_t q = 0; q < columns.size(); ++q) {
      const std::size_t i = columns[q] % n, j = columns[q] / n;
      const VoidGrid::Column& c = grid_.column(i, j);
      for (const std::uint16_t p : {c.first, c.second, c.third}) ++pieces[p];
      for (std::size_t k = 0; k < grid_.layers(); ++k) {
        junction.volume_mm3 += grid_.void_fraction(i, j, k) * grid_.box_volume_mm3(i, j, k);
      }
      Vector3d base, normal;
      grid_.base(grid_.map_at(i, j), base, normal);
      if (!c.in_arris) top.add(base + c.tape_mm * normal, 1);
      for (const std::size_t next : {columns[q] - 1, columns[q] + 1, columns[q] - n, columns[q] + n}) {
        if (next >= n * n || seen[next] || !in_junction(next)) continue;
        seen[next] = 1;
        columns.push_back(next);
      }
    }
    if (top.weight() < 4) continue;
    for (const auto& [p, count] : pieces) junction.tiles.push_back(TileIndex(p));
    junction.at = top.lump().centre;
    junction.map = shell_.form.locate(junction.at).uv;
    net_.junctions.push_back(std::move(junction));
  }
}

}  // namespace

std::vector<std::size_t> ChannelNetwork::openings() const {
  std::vector<std::size_t> out;
  for (std::size_t s = 0; s < stations.size(); ++s) {
    if (stations[s].at_end) out.push_back(s);
  }
  return out;
}

ChannelNetwork channel_network(const FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid,
                               double smallest_fill_mm, int threads) {
  return Builder(fit, shell, grid, smallest_fill_mm, threads).build();
}

}  // namespace interstice
