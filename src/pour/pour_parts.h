// The parts plan_pours puts together; each fills its share of the document.
#pragma once

#include "channels/channel_network.h"
#include "pour/pour_document.h"

namespace interstice::pour {

// What every part needs to know.
struct PourScene {
  const seams::FitDocument& fit;
  const plan::Plan& plan;
  const channels::ChannelNetwork& net;
  double fill_mm = 3;
  std::vector<StationIndex> openings;  // where resin may come in
  ByStation<char> reached;             // resin gets there from an opening
  ByCell<char> reached_cell;           // and down to it

  TilePair tiles_of(ChannelIndex channel) const {
    const channels::Channel& c = net.channels[channel];
    return {plan.tiles[c.tiles[0]].label, plan.tiles[c.tiles[1]].label};
  }
  // Where along its seam a station lies, by which a maker finds it.
  std::optional<seams::SeamPlace> place_at(StationIndex station) const {
    const auto& seam = net.channels[net.stations[station].channel].fit_seam;
    if (!seam) return std::nullopt;
    return seams::place_along(fit, fit.seams[seam->value], net.stations[station].mouth);
  }
  TilePair tiles_at(StationIndex station) const { return tiles_of(net.stations[station].channel); }
};

// By station, the channel that it closes (too tight), or kPassable if resin passes.
ByStation<ChannelIndex> closed_stations(const channels::ChannelNetwork& net, double fill_mm);
// The same for one channel at another limit, in place.
void close_channel(const channels::ChannelNetwork& net, ChannelIndex channel, double below_mm,
                   ByStation<ChannelIndex>& closed_by);
// Whether the channel, of that index, is closed anywhere.
bool closes_any(const channels::Channel& channel, ChannelIndex index,
                const ByStation<ChannelIndex>& closed_by);

// The expanded uncertainty of each channel's widths; the usual one of this scan where the fit gives none.
ByChannel<double> widths_u95_mm(const PourScene& scene);
// Fills in the range of each place's stranded length.
void add_ranges(const PourScene& scene, const ByStation<ChannelIndex>& closed,
                const ByChannel<double>& u95_mm, int threads,
                const std::vector<ChannelIndex>& channel_of_place, std::vector<StrandedPlace>& places);

void report_stranded(const PourScene& scene, int threads, PourDocument& document);
void report_network(const PourScene& scene, PourDocument& document);
void report_pours(const PourScene& scene, const std::optional<Resin>& resin, const PourOptions& options,
                  PourDocument& document);
// Dead ends of seam narrower than the bubble limit that hang down where a pour fills them (part[c]: share of each
// cell that it fills): resin must come in where air goes out. Their whole length, and the lower end of each.
struct DeadEnds {
  double length_mm = 0;
  std::vector<PrickPlace> pricks;  // longest first
};
DeadEnds dead_ends(const PourScene& scene, const PourStep& step, const ByCell<double>& part,
                   double bubble_limit_mm);
// Air that stays after all pours and could leave while this one stands, by the highest mouth over each of its
// pockets; what a prick lets out is taken off `left` (share of each cell that stays empty).
std::vector<PrickPlace> pocket_pricks(const PourScene& scene, const PourStep& step, double least_mm3,
                                      ByCell<double>& left);
// What may creep, at most, from filled cells into those too narrow to fill that join them, in mm3; cells counted
// are marked in `crept`.
double creep_mm3(const PourScene& scene, const ByCell<double>& part, ByCell<char>& crept);
void report_build(const PourScene& scene, const std::optional<Resin>& resin, PourDocument& document);
void report_slot_flow(const std::optional<Resin>& resin, PourDocument& document);
std::vector<std::string> cautions();

// Lengths along the channels from the sources to every station they can reach through open stations
// (infinity: not reached).
ByStation<double> path_lengths_mm(const channels::ChannelNetwork& net, const ByStation<char>& open,
                                  const std::vector<StationIndex>& sources);

// Ends of the shell at the rim, as against those at an open ring or a hole.
bool at_rim(const PourScene& scene, StationIndex station);

inline double to_ml(double mm3) {
  return mm3 / 1000;
}

}  // namespace interstice::pour
