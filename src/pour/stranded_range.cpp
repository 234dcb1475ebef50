// How far each stranded length may be off.
//
// Widths are uncertain, and what a too-tight seam strands depends on them in two ways: on where along the
// seam the width passes the smallest fill, and on which seams are closed. The first is followed by making the
// seam's own widths larger and smaller by their u95; the second by letting every seam whose verdict is open
// close and open (by the guard band, as the verdict has it), one at a time: two seams that both prove otherwise
// can strand more or less than the range says.
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "core/parallel.h"
#include "pour/pour_parts.h"

namespace interstice::pour {
namespace {

class Ranges {
 public:
  Ranges(const PourScene& scene, const ByStation<ChannelIndex>& closed, const ByChannel<double>& u95_mm,
         int threads)
      : scene_(scene), net_(scene.net), closed_(closed), u95_(u95_mm) {
    low_ = high_ = behind(closed_);
    vary_others(threads);
  }

  void set(ChannelIndex channel, StrandedPlace& place) const {
    const double u95 = u95_[channel], guard = core::guard_band_mm(u95);
    const double tight = own_length(channel, -u95);
    // Wider by u95 it may be open though the verdict, one-sided, proves it tight.
    const double wide = own_length(channel, own_length(channel, u95) > 0 ? u95 : guard);
    const ByStation<ChannelIndex> opened = shifted(channel, guard), narrowed = shifted(channel, -guard);
    const double with_tight = behind(narrowed)[channel];
    place.length_high_mm = std::max(place.length_mm, tight + std::max(high_[channel], with_tight));
    place.length_low_mm = 0;
    if (is_closed(channel, opened) && place.certainty == Certainty::measured) {
      const double with_wide = behind(opened)[channel];
      place.length_low_mm = std::min(place.length_mm, wide + std::min(low_[channel], with_wide));
    }
  }

 private:
  double own_length(ChannelIndex channel, double shift_mm) const {
    return net_.channels[channel].length_below_mm(scene_.fill_mm - shift_mm);
  }

  ByStation<ChannelIndex> shifted(ChannelIndex channel, double shift_mm) const {
    ByStation<ChannelIndex> group = closed_;
    close_channel(net_, channel, scene_.fill_mm - shift_mm, group);
    return group;
  }

  bool is_closed(ChannelIndex channel, const ByStation<ChannelIndex>& group) const {
    return closes_any(net_.channels[channel], channel, group);
  }

  // The length behind each channel's closed stations.
  ByChannel<double> behind(const ByStation<ChannelIndex>& group) const {
    ByChannel<double> length(net_.channels.size());
    const channels::ReachResult reach =
        channels::stranded_behind(net_.links, scene_.openings, group, net_.channels.size());
    for (const channels::Blocked& b : reach.blocked) {
      for (const StationIndex s : b.behind) length[b.channel] += net_.stations[s].length_mm;
    }
    return length;
  }

  void vary_others(int threads) {
    std::vector<ByStation<ChannelIndex>> cases;
    for (const ChannelIndex c : net_.channels.indices()) {
      const bool closed = is_closed(c, closed_);
      ByStation<ChannelIndex> other = shifted(c, (closed ? 1 : -1) * core::guard_band_mm(u95_[c]));
      const channels::Channel& channel = net_.channels[c];
      if (channel.fit_seam && scene_.fit.seams[channel.fit_seam->value].verdict == seams::Verdict::unseen) {
        for (const StationIndex s : channel.stations()) {
          if (!net_.stations[s].seen) other[s] = closed ? channels::kPassable : c;
        }
      }
      if (is_closed(c, other) != closed) cases.push_back(std::move(other));
    }
    std::vector<ByChannel<double>> lengths(cases.size());
    core::parallel_for(cases.size(), threads, [&](std::size_t k) { lengths[k] = behind(cases[k]); });
    for (std::size_t k = 0; k < cases.size(); ++k) {
      for (const ChannelIndex c : net_.channels.indices()) {
        if (!is_closed(c, cases[k])) continue;
        low_[c] = std::min(low_[c], lengths[k][c]);
        high_[c] = std::max(high_[c], lengths[k][c]);
      }
    }
  }

  const PourScene& scene_;
  const channels::ChannelNetwork& net_;
  const ByStation<ChannelIndex>& closed_;
  const ByChannel<double>& u95_;
  ByChannel<double> low_, high_;  // of the length behind it, whichever other seam changes
};

}  // namespace

ByChannel<double> widths_u95_mm(const PourScene& scene) {
  std::vector<double> u95;
  for (const seams::FitSeam& s : scene.fit.seams) {
    if (s.u95_mm) u95.push_back(*s.u95_mm);
  }
  const double usual = u95.empty() ? 0 : core::median(u95);  // for seams too short to be listed
  ByChannel<double> out;
  for (const channels::Channel& c : scene.net.channels) {
    out.push_back(c.fit_seam ? scene.fit.seams[c.fit_seam->value].u95_mm.value_or(usual) : usual);
  }
  return out;
}

void add_ranges(const PourScene& scene, const ByStation<ChannelIndex>& closed,
                const ByChannel<double>& u95_mm, int threads,
                const std::vector<ChannelIndex>& channel_of_place, std::vector<StrandedPlace>& places) {
  const Ranges ranges(scene, closed, u95_mm, threads);
  core::parallel_for(places.size(), threads,
                     [&](std::size_t k) { ranges.set(channel_of_place[k], places[k]); });
}

}  // namespace interstice::pour
