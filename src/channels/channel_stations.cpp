#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <string>

#include "channels/channel_parts.h"
#include "core/parallel.h"
#include "solid/throat.h"

namespace interstice::channels {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kStation_mm = 2.0;
constexpr double kFar_mm = std::numeric_limits<double>::infinity();

using Pair = std::pair<std::uint16_t, std::uint16_t>;

// The mouth's midpoints of one channel, which decide what void is whose.
struct Midpoints {
  StationIndex first_station;
  std::vector<Vector3d> at;
  std::vector<StationIndex> station;
};

Pair pair_of(const VoidGrid::Column& c) {
  return {std::min(c.first, c.second), std::max(c.first, c.second)};
}

std::vector<seams::SeamSample> computed_samples(const ShellSolids& shell, std::size_t a, std::size_t b) {
  std::vector<seams::SeamSample> out;
  if (!shell.pieces[a] || !shell.pieces[b]) return out;
  for (const solid::MouthSample& m : solid::mouth_along(*shell.pieces[a], *shell.pieces[b])) {
    out.push_back({m.s_mm, m.width_mm, 0.0, m.on_a, m.on_b});
  }
  return out;
}

using DepthWidths = std::array<double, kDepthCells>;  // from form to tape
constexpr DepthWidths kAllWide{kFar_mm, kFar_mm, kFar_mm, kFar_mm};

// At each sample of a seam, the widths half way down each of a station's cells: between arris and root, which
// stand for tape and form.
std::vector<DepthWidths> widths_by_depth(const solid::SolidBody& a, const solid::SolidBody& b,
                                         const std::vector<seams::SeamSample>& samples) {
  std::vector<DepthWidths> out(samples.size(), kAllWide);
  if (a.empty() || b.empty()) return out;
  for (std::size_t k = 0; k < samples.size(); ++k) {
    for (std::size_t d = 0; d < kDepthCells; ++d) {
      const double depth = 1 - (static_cast<double>(d) + 0.5) / static_cast<double>(kDepthCells);
      const auto width = solid::width_at_depth(a, b, samples[k].a, samples[k].b, depth, core::kWidestSeam_mm);
      if (width) out[k][d] = *width;
    }
  }
  return out;
}

class Drafter {
 public:
  Drafter(const seams::FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid, double fill,
          int threads)
      : fit_(fit), shell_(shell), grid_(grid), fill_(fill), threads_(threads) {}

  StationDraft draft() {
    find_pairs();
    draft_channels();
    assign_columns();
    return std::move(out_);
  }

 private:
  bool has_void(std::size_t i, std::size_t j) const {
    for (std::size_t k = 0; k < grid_.layers(); ++k) {
      if (grid_.void_fraction(i, j, k) > 0) return true;
    }
    return false;
  }
  std::size_t flat(std::size_t i, std::size_t j) const { return j * grid_.side() + i; }

  void find_pairs();
  void draft_channels();
  std::size_t end_of_station(const std::vector<seams::SeamSample>& samples, std::size_t from) const;
  void add_stations(Channel channel, const std::vector<seams::SeamSample>& samples,
                    const std::vector<DepthWidths>& depths);
  Station station_of(const std::vector<seams::SeamSample>& samples, std::size_t from, std::size_t to) const;
  double own_length(const seams::SeamSample& sample) const;
  void assign_columns();

  const seams::FitDocument& fit_;
  const ShellSolids& shell_;
  const VoidGrid& grid_;
  double fill_;
  int threads_;
  StationDraft out_;
  std::map<Pair, ChannelIndex> channel_of_pair_;
  ByChannel<Midpoints> midpoints_;
  std::vector<char> void_column_;
};

void Drafter::find_pairs() {
  const std::size_t n = grid_.side();
  void_column_.assign(n * n, 0);
  core::parallel_for(n, threads_, [&](std::size_t j) {
    for (std::size_t i = 0; i < n; ++i) {
      const VoidGrid::Column& c = grid_.column(i, j);
      void_column_[flat(i, j)] = c.second != VoidGrid::kNone && has_void(i, j);
    }
  });
  for (std::size_t j = 0; j < n; ++j) {
    for (std::size_t i = 0; i < n; ++i) {
      if (void_column_[flat(i, j)]) channel_of_pair_.try_emplace(pair_of(grid_.column(i, j)));
    }
  }
}

void Drafter::draft_channels() {
  std::map<std::string, std::size_t> index;
  for (std::size_t i = 0; i < fit_.tiles.size(); ++i) index[fit_.tiles[i].label] = i;
  std::map<Pair, geometry::SeamIndex> listed;
  for (std::size_t s = 0; s < fit_.seams.size(); ++s) {
    const auto a = index.find(fit_.seams[s].tiles[0]), b = index.find(fit_.seams[s].tiles[1]);
    if (a == index.end() || b == index.end() || !shell_.pieces[a->second] || !shell_.pieces[b->second])
      continue;
    const auto x = static_cast<std::uint16_t>(a->second), y = static_cast<std::uint16_t>(b->second);
    const Pair pair(std::min(x, y), std::max(x, y));
    listed[pair] = geometry::SeamIndex(s);
    channel_of_pair_.try_emplace(pair);
  }
  std::vector<Pair> pairs;
  for (auto& [pair, at] : channel_of_pair_) at = ChannelIndex(pairs.size()), pairs.push_back(pair);
  std::vector<std::vector<seams::SeamSample>> samples(pairs.size());
  std::vector<std::vector<DepthWidths>> depths(pairs.size());
  std::vector<solid::SolidBody> bodies;
  for (const auto& piece : shell_.pieces)
    bodies.push_back(piece ? solid::SolidBody(*piece) : solid::SolidBody());
  core::parallel_for(pairs.size(), threads_, [&](std::size_t p) {
    const auto seam = listed.find(pairs[p]);
    if (seam != listed.end()) samples[p] = fit_.seams[seam->second.value].samples;
    if (samples[p].empty()) samples[p] = computed_samples(shell_, pairs[p].first, pairs[p].second);
    depths[p] = widths_by_depth(bodies[pairs[p].first], bodies[pairs[p].second], samples[p]);
  });
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    Channel channel;
    channel.tiles = {geometry::TileIndex(pairs[p].first), geometry::TileIndex(pairs[p].second)};
    if (const auto seam = listed.find(pairs[p]); seam != listed.end()) channel.fit_seam = seam->second;
    add_stations(std::move(channel), samples[p], depths[p]);
  }
}

// Where a third piece is nearer than the two are to each other, the length is the junction's.
double Drafter::own_length(const seams::SeamSample& sample) const {
  const Vector2d uv = shell_.form.locate((sample.a + sample.b) / 2).uv;
  const double middle = static_cast<double>(grid_.side() - 1) / 2;
  const auto i = std::lround(uv.x() / grid_.step_mm() + middle),
             j = std::lround(uv.y() / grid_.step_mm() + middle);
  const auto n = static_cast<long>(grid_.side());
  if (sample.width_mm < fill_ || i < 0 || j < 0 || i >= n || j >= n) return 1;
  const double third = grid_.column(static_cast<std::size_t>(i), static_cast<std::size_t>(j)).d3;
  return third < 0.75 * sample.width_mm ? 0 : 1;
}

Station Drafter::station_of(const std::vector<seams::SeamSample>& samples, std::size_t from,
                            std::size_t to) const {
  Station st;
  st.width_mm = kFar_mm;
  for (std::size_t k = from; k < to; ++k) {
    st.width_mm = std::min(st.width_mm, samples[k].width_mm);
    st.mouth += (samples[k].a + samples[k].b) / (2.0 * static_cast<double>(to - from));
    st.seen = st.seen && samples[k].sd_mm >= 0;
  }
  st.s_mm = (samples[from].s_mm + samples[to - 1].s_mm) / 2;
  st.map = shell_.form.locate(st.mouth).uv;
  return st;
}

// Where the mouth passes the smallest fill a station ends, so that none is half too tight.
std::size_t Drafter::end_of_station(const std::vector<seams::SeamSample>& samples, std::size_t from) const {
  std::size_t to = from + 1;
  while (to < samples.size() && samples[to].s_mm < samples[from].s_mm + kStation_mm &&
         samples[to].s_mm - samples[to - 1].s_mm < kStation_mm &&
         (samples[to].width_mm < fill_) == (samples[from].width_mm < fill_)) {
    ++to;
  }
  return to;
}

void Drafter::add_stations(Channel channel, const std::vector<seams::SeamSample>& samples,
                           const std::vector<DepthWidths>& depths) {
  const ChannelIndex index(out_.channels.size());
  channel.first = StationIndex(out_.stations.size());
  for (const seams::SeamSample& p : samples) channel.mouth.push_back({p.s_mm, p.width_mm, own_length(p)});
  Midpoints midpoints{channel.first, {}, {}};
  for (std::size_t from = 0, to = 0; from < samples.size(); from = to) {
    to = end_of_station(samples, from);
    Station st = station_of(samples, from, to);
    st.channel = index;
    st.width_at_mm = kAllWide;
    for (std::size_t k = from; k < to; ++k) {
      for (std::size_t d = 0; d < kDepthCells; ++d)
        st.width_at_mm[d] = std::min(st.width_at_mm[d], depths[k][d]);
      st.length_mm += length_of_point(channel.mouth, k, fill_);
      midpoints.at.push_back((samples[k].a + samples[k].b) / 2);
      midpoints.station.emplace_back(out_.stations.size());
    }
    out_.stations.push_back(st);
  }
  if (samples.empty()) {  // only a corner of the void lies between these two
    Station st;
    st.width_mm = kFar_mm;
    st.width_at_mm = kAllWide;
    st.channel = index;
    out_.stations.push_back(st);
  }
  channel.count = out_.stations.size() - channel.first.value;
  out_.channels.push_back(std::move(channel));
  midpoints_.push_back(std::move(midpoints));
}

void Drafter::assign_columns() {
  const std::size_t n = grid_.side();
  out_.station_of_column.assign(n * n, kNoStation);
  core::parallel_for(n, threads_, [&](std::size_t j) {
    for (std::size_t i = 0; i < n; ++i) {
      if (!void_column_[flat(i, j)]) continue;
      const VoidGrid::Column& column = grid_.column(i, j);
      const Midpoints& mouth = midpoints_[channel_of_pair_.at(pair_of(column))];
      Vector3d base, normal;
      grid_.base(grid_.map_at(i, j), base, normal);
      const Vector3d top = base + column.tape_mm * normal;
      StationIndex station = mouth.first_station;
      double best = kFar_mm;
      for (std::size_t k = 0; k < mouth.at.size(); ++k) {
        const double d = (mouth.at[k] - top).squaredNorm();
        if (d < best) best = d, station = mouth.station[k];
      }
      out_.station_of_column[flat(i, j)] = station;
    }
  });
}

// Of the way from a mouth to the next, the share that is on this one's side of a width: up to where the width
// passes it, taken as straight, or to the middle if both are on one side.
double share_to(double width_mm, double next_mm, double limit_mm) {
  if ((width_mm < limit_mm) == (next_mm < limit_mm)) return 0.5;
  return (limit_mm - width_mm) / (next_mm - width_mm);
}

}  // namespace

double length_of_point(const std::vector<WidthPoint>& mouth, std::size_t k, double limit_mm) {
  double length = 0;
  const auto towards = [&](std::size_t next) {
    // A pause in the samples is a stretch wider than a seam: it is nobody's length.
    const double way = std::clamp(std::abs(mouth[next].s_mm - mouth[k].s_mm), 0.0, 1.0);
    length += way * share_to(mouth[k].width_mm, mouth[next].width_mm, limit_mm);
  };
  if (k > 0) towards(k - 1);
  if (k + 1 < mouth.size()) towards(k + 1);
  return mouth[k].own * length;
}

double Channel::length_below_mm(double limit_mm) const {
  double length = 0;
  for (std::size_t k = 0; k < mouth.size(); ++k) {
    if (mouth[k].width_mm < limit_mm) length += length_of_point(mouth, k, limit_mm);
  }
  return length;
}

double Channel::expected_length_below_mm(double limit_mm, double sd_mm) const {
  constexpr double kReach = 4, kStep = 1.0 / 32;  // standard uncertainties
  if (sd_mm <= 0) return length_below_mm(limit_mm);
  double length = 0, weights = 0;
  for (double z = -kReach; z <= kReach; z += kStep) {
    const double here = length_below_mm(limit_mm - z * sd_mm);
    if (here <= 0) break;  // wider still, it is open
    length += std::exp(-0.5 * z * z) * here;
    weights += std::exp(-0.5 * z * z);
  }
  return weights > 0 ? length / weights : 0;
}

StationDraft draft_stations(const seams::FitDocument& fit, const ShellSolids& shell, const VoidGrid& grid,
                            double smallest_fill_mm, int threads) {
  return Drafter(fit, shell, grid, smallest_fill_mm, threads).draft();
}

}  // namespace interstice::channels
