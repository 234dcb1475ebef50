// Whether to pour, where resin will not get, and how to pour; as a value, as pour.json and as words for the
// bench. Lengths mm, volumes ml, angles degrees, bowl frame and map.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "plan/plan.h"
#include "pour/pour_search.h"
#include "pour/resin.h"
#include "pour/slot_flow.h"
#include "seams/fit_document.h"
#include "seams/seam_ends.h"

namespace interstice::pour {

using TilePair = std::array<std::string, 2>;

struct PourDocument;

struct PourOptions {
  std::optional<double> smallest_fill_mm;  // overrides the fit's
  std::vector<Eigen::Vector2d> openings;   // further places, on the map, that will be left open
  double tilt_step_deg = 15;
  int threads = 0;
};

struct Coverage {
  int planned = 0, placed = 0, rings_on = 0, rings_planned = 0;
  std::vector<std::string> absent;  // in rings that have been begun
  std::vector<std::string> unseen;
  int not_begun = 0;  // pieces of rings above the last one begun
  std::vector<TilePair> too_tight, pinched, doubtful, unseen_seams;
  // Of the rings begun: the form, what lies under pieces, and what is neither under a piece nor in a seam.
  double form_area_mm2 = 0, covered_area_mm2 = 0, bare_area_mm2 = 0;
};

enum class Certainty { measured, doubtful, unseen };

// What one too-tight seam keeps resin from.
struct StrandedPlace {
  TilePair behind;
  Certainty certainty = Certainty::measured;
  double width_mm = 0;
  double length_mm = 0, volume_ml = 0;              // the tight stretch and all that lies behind it
  double length_low_mm = 0, length_high_mm = 0;     // what widths within their uncertainty can make of it
  double own_length_mm = 0;                         // the tight stretch alone
  double freed_length_mm = 0, freed_volume_ml = 0;  // gained by opening this seam (after those before it)
  int before = 0;                                   // too-tight seams that must be opened first
  std::vector<TilePair> seams_behind;
  Eigen::Vector2d map{0, 0};
};

// Wide enough at the mouth, narrower than the smallest fill behind it: resin runs along it, and stays out below
// the depth at which it becomes too narrow.
struct NarrowBehind {
  TilePair tiles;
  double mouth_mm = 0, throat_mm = 0, throat_u95_mm = 0;
  seams::ThroatFrom from = seams::ThroatFrom::bevel;
  bool proved = true;                   // false: doubtful
  double length_mm = 0, volume_ml = 0;  // of seam with a place resin does not get to, and of those places
  Eigen::Vector2d map{0, 0};
};

struct ChannelPoint {
  double s_mm = 0, width_mm = 0, reach_width_mm = 0, depth_mm = 0, volume_ml = 0;
  Eigen::Vector2d map{0, 0};
  bool seen = true, reached = true, end = false;
};

struct ChannelReport {
  TilePair tiles;
  bool listed = true;  // a seam of the fit
  double length_mm = 0, volume_ml = 0;
  std::vector<ChannelPoint> points;
};

struct JunctionReport {
  std::vector<std::string> tiles;
  Eigen::Vector2d map{0, 0};
  double volume_ml = 0;
};

struct InletReport {
  TilePair seam;
  Eigen::Vector2d map{0, 0};
  bool end = false;  // an end of the shell, not a mouth
  double volume_ml = 0;
  std::optional<seams::SeamPlace> place = std::nullopt;  // along its seam; empty: only corners meet there
};

struct Pocket {
  TilePair seam;
  Eigen::Vector2d map{0, 0};
  double volume_ml = 0;
  std::optional<seams::SeamPlace> place = std::nullopt;
};

// Where air cannot leave by itself while a pour stands: the tape is pricked there until resin shows.
struct PrickPlace {
  TilePair seam;
  Eigen::Vector2d map{0, 0};
  std::optional<seams::SeamPlace> place = std::nullopt;
  double length_mm = 0;  // of a dead end in which a bubble may lock
  double volume_ml = 0;  // of air under the tape that no later pour lets out; 0 of a dead end
};

struct PourReport {
  double volume_ml = 0, mix_ml = 0;  // the mix holds what clings to the cup, and what creeps
  double creep_ml = 0;               // at most, into stretches that are too narrow to fill and along the rim
  std::optional<double> mix_g;
  // Of A and B, where the data sheet gives a ratio.
  std::optional<std::array<double, 2>> parts_ml, parts_g;
  std::optional<double> prop_mm;  // under the rim on the raised side, for leans that stand on the rim
  std::optional<double> set_h;    // until the next pour
  double tilt_deg = 0, azimuth_deg = 0;
  std::string up;
  int lift = 1, lifts = 1;          // a deep pour is made in steps at the same tilt
  std::vector<InletReport> inlets;  // the first is the main one
  double deepest_mm = 0;
  std::vector<TilePair> tape, fills;
  std::vector<InletReport> vents;  // ends to leave open until resin shows, then close
  std::vector<InletReport> dam;    // ends of the shell that must be closed too
  std::vector<Pocket> pockets;     // air left after it
  std::vector<PrickPlace> pricks;  // most air first, then longest dead ends
  double trapped_ml = 0;
  double counterflow_length_mm = 0;   // narrower than the bubble limit and filled only from above
  std::optional<double> slowest_min;  // time for resin to get everywhere
  double time_limited_length_mm = 0;  // wide enough, but resin sets on the way
  std::string words;
};

struct RingReport {
  int ring = 1;
  double depth_mm = 0;  // upright, from the lowest place to this ring's upper edge
  double reach_mm = 0;  // along the seams from its upper edge down to the rim
  bool on = false;
};

enum class BuildLimit { none, width, resin };

struct BuildAdvice {
  bool open_ring = false;
  double deepest_reach_mm = 0;  // along the seams, from the openings to the farthest place
  double closing_length_mm = 0, closing_volume_ml = 0;  // reached now only through the open ring
  std::vector<TilePair> closing_seams;
  std::optional<int> rings_before_first_pour;  // empty while nothing is on
  BuildLimit limited_by = BuildLimit::none;    // what forbids a ring more
  std::vector<RingReport> rings;
  std::string words;
};

struct PourDocument {
  std::string name, resin_name;
  bool ready = false;  // everything on, every seam proved clear, nothing stranded, little air left
  bool ready_for_rings_on = false;  // the same without the rings not yet begun
  std::vector<std::string> reasons, warnings, cautions;
  double smallest_fill_mm = 3;
  Coverage coverage;
  double void_volume_ml = 0, seams_ml = 0, junctions_ml = 0, under_pieces_ml = 0;
  double rim_ml = 0;  // between the lowest ring and the rim, tape straight across
  double seam_length_mm = 0;
  std::vector<StrandedPlace> stranded;  // most length first
  double stranded_length_mm = 0, stranded_ml = 0;
  std::vector<NarrowBehind> narrow_behind;       // worst first
  double pinched_length_mm = 0, pinched_ml = 0;  // out of reach behind narrow throats alone, in all
  std::vector<ChannelReport> channels;
  std::vector<JunctionReport> junctions;
  std::vector<InletReport> openings;
  std::vector<PourReport> pours;
  double trapped_ml_after = 0;
  std::optional<double> bubble_limit_mm;
  std::vector<SlotReach> slot_reach;
  BuildAdvice build;
};

// The length that opening this seam would free, for ranking corrections; 0 if it strands nothing.
double freed_length_mm(const PourDocument& pour, const std::string& tile_a, const std::string& tile_b);

std::string write_pour(const PourDocument& pour);  // pour.json
std::string pour_words(const PourDocument& pour);  // for the bench, lines of at most about 100 characters

const char* name_of(Certainty certainty);  // "measured" | "doubtful" | "unseen"
const char* name_of(BuildLimit limit);     // "none" | "width" | "resin"

}  // namespace interstice::pour
