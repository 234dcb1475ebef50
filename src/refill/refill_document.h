// What a poured shell is like, as a value and as refill.json. Bowl frame and map of the dry measurement, so that
// both documents can be laid over each other; mm, mm2, ml, degrees.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "refill/hollows.h"

namespace interstice::refill {

enum class SeamState { filled, hollow, unseen };

using TilePair = std::array<std::string, 2>;

// A stretch along a seam.
struct Stretch {
  double from_mm = 0, to_mm = 0;  // along it, as the dry measurement counts
  SeamState state = SeamState::filled;
};

struct RefillSeam {
  TilePair tiles;
  SeamState state = SeamState::unseen;
  std::optional<double> width_mm;   // narrowest, dry
  std::optional<double> throat_mm;  // dry
  double length_mm = 0;
  double hollow_mm2 = 0, seen_share = 0;
  bool called_clear = false;  // before the pour
  std::vector<Stretch> along;
};

struct Hollow {
  HollowKind kind = HollowKind::slot;
  TilePair tiles;
  Eigen::Vector2d map{0, 0};
  Eigen::Vector3d at{0, 0, 0}, normal{0, 0, 1}, along{1, 0, 0};
  double length_mm = 0, opening_mm2 = 0, opening_u95_mm2 = 0;
  double width_mm = 0;             // opening over length
  double depth_at_least_mm = 0;    // below the face of the resin beside it
  std::optional<double> floor_mm;  // depth of the resin seen at its bottom; empty: not seen
  double volume_low_ml = 0, volume_high_ml = 0;
  double hue_share = 0, shade = 1;  // refill/hollows.h
  std::string best_photo;
  std::vector<Eigen::Vector3d> rim;  // closed, round its opening
};

// How a hollow can be filled.
enum class Way { pour, open_first, syringe };

struct RefillPour {
  double tilt_deg = 0, azimuth_deg = 0;
  std::string up;                    // the piece on the rim that comes up
  std::vector<std::size_t> hollows;  // indices, lowest place first
  double volume_low_ml = 0, volume_high_ml = 0, mix_ml = 0;
  std::vector<TilePair> tape;
};

struct HollowAdvice {
  Way way = Way::pour;
  std::string words;
};

struct FillLimit {
  double width_mm = 0, u95_mm = 0;
  std::size_t seams = 0;
};

struct RefillQuality {
  int photos_given = 0, photos_used = 0;
  std::size_t pieces = 0, pieces_agreeing = 0;
  double registration_mm = 0, pixel_footprint_mm = 0, scale_ratio = 1;
};

struct RefillDocument {
  std::string name;
  std::vector<RefillSeam> seams;
  std::vector<Hollow> hollows;
  std::vector<HollowAdvice> advice;  // of each hollow
  std::vector<RefillPour> pours;
  std::optional<FillLimit> fill_limit;
  std::string fill_limit_words;
  std::vector<std::string> cautions, warnings;
  RefillQuality quality;
};

const char* name_of(SeamState state);  // "filled" | "hollow" | "unseen"
const char* name_of(HollowKind kind);  // "slot" | "pit"
const char* name_of(Way way);          // "pour" | "open first" | "syringe"

std::string write_refill(const RefillDocument& document);  // refill.json

}  // namespace interstice::refill
