// What the page says about pouring, read from pour.json. Lengths mm, volumes ml, angles degrees, places on
// the map.
#pragma once

#include <Eigen/Core>
#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "seams/seam_ends.h"

namespace interstice::report {

struct PourPlace {
  std::array<std::string, 2> seam;
  Eigen::Vector2d map{0, 0};
  bool end = false;                                      // an end of the shell, not a mouth
  std::optional<seams::SeamPlace> along = std::nullopt;  // empty: not known
  double length_mm = 0, volume_ml = 0;                   // where to prick: of a dead end, of air
};

struct SheetStranded {
  std::array<std::string, 2> behind;
  double width_mm = 0, length_mm = 0, volume_ml = 0, freed_length_mm = 0;
  double length_low_mm = 0, length_high_mm = 0;  // equal to length_mm where the file gives no range
  bool proved = true;                            // false: only if a doubtful or unseen width is too tight
};

struct SheetNarrow {
  std::array<std::string, 2> tiles;
  double mouth_mm = 0, throat_mm = 0, throat_u95_mm = 0, length_mm = 0, volume_ml = 0;
  bool proved = true;  // false: doubtful
};

struct SheetPour {
  double volume_ml = 0, mix_ml = 0, creep_ml = 0, tilt_deg = 0, azimuth_deg = 0, deepest_mm = 0,
         trapped_ml = 0;
  std::optional<double> mix_g;
  int lift = 1, lifts = 1;
  std::string up, words;
  std::vector<std::array<std::string, 2>> tape;
  std::vector<PourPlace> inlets, vents, dam, pricks;
};

struct PourSheet {
  bool ready = false, ready_for_rings_on = false;
  std::vector<std::string> reasons, warnings, cautions;
  int rings_on = 0, rings_planned = 0;
  double void_volume_ml = 0, seams_ml = 0, under_pieces_ml = 0, rim_ml = 0, stranded_length_mm = 0,
         stranded_ml = 0;
  double trapped_ml_after = 0;
  std::string build_words, resin_name;
  std::vector<SheetStranded> stranded;
  std::vector<SheetNarrow> narrow;  // behind the mouth
  double pinched_length_mm = 0, pinched_ml = 0;
  std::vector<SheetPour> pours;
};

// Throws InputError naming file, place and fault.
PourSheet parse_pour_sheet(const std::string& json_text, const std::string& file);

}  // namespace interstice::report
