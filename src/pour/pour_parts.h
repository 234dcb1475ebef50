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
  std::vector<std::size_t> openings;  // stations where resin may come in
  std::vector<char> reached;          // by station: resin gets there from an opening
  std::vector<char> reached_cell;     // by cell: and down to it

  TilePair tiles_of(std::size_t channel) const {
    const channels::Channel& c = net.channels[channel];
    return {plan.tiles[c.tiles[0]].label, plan.tiles[c.tiles[1]].label};
  }
  TilePair tiles_at(std::size_t station) const { return tiles_of(net.stations[station].channel); }
};

// The stations that are too tight: by station, the channel it closes, or kPassable if resin passes.
std::vector<std::size_t> closed_stations(const channels::ChannelNetwork& net, double fill_mm);
// The same for one channel at another limit, in place.
void close_channel(const channels::ChannelNetwork& net, std::size_t channel, double below_mm,
                   std::vector<std::size_t>& group);

// By channel, the expanded uncertainty of its widths; the usual one of this scan where the fit gives none.
std::vector<double> widths_u95_mm(const PourScene& scene);
// Fills in the range of each place's stranded length.
void add_ranges(const PourScene& scene, const std::vector<std::size_t>& closed,
                const std::vector<double>& u95_mm, int threads,
                const std::vector<std::size_t>& channel_of_place, std::vector<StrandedPlace>& places);

void report_stranded(const PourScene& scene, int threads, PourDocument& document);
void report_network(const PourScene& scene, PourDocument& document);
void report_pours(const PourScene& scene, const std::optional<Resin>& resin, const PourOptions& options,
                  PourDocument& document);
void report_build(const PourScene& scene, const std::optional<Resin>& resin, PourDocument& document);
void report_slot_flow(const std::optional<Resin>& resin, PourDocument& document);
std::vector<std::string> cautions();

// Lengths along the channels from the sources to every station they can reach through open stations
// (infinity: not reached).
std::vector<double> path_lengths_mm(const channels::ChannelNetwork& net, const std::vector<char>& open,
                                    const std::vector<std::size_t>& sources);

// Ends of the shell at the rim, as against those at an open ring or a hole.
bool at_rim(const PourScene& scene, std::size_t station);

inline double to_ml(double mm3) {
  return mm3 / 1000;
}

}  // namespace interstice::pour
