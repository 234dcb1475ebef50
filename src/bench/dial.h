// How far a scan's photos go round the form, and from where more are needed.
//
// A low ring of about nine photos sees the walls of the lowest pieces, a high ring of about nine their faces,
// two from above the pole (README, How to photograph). Nine photos a ring stand 40 degrees apart; a gap of
// more than one and a half of that is a gap.
#pragma once

#include <string>
#include <vector>

namespace interstice::bench {

struct Standpoint {
  std::string photo;
  double clock_deg = 0;    // clockwise seen from above, 0 at 12
  double height_deg = 0;   // above the bench, as seen from the form
  double distance_mm = 0;  // to the point looked at
};

struct Dial {
  int card_at_twelve = 0;  // 0: nothing is known yet
  std::vector<Standpoint> standpoints;
};

inline constexpr double kLowDeg = 20, kHighDeg = 50, kAboveDeg = 90;  // nominal heights
inline constexpr double kRingStepDeg = 40, kWidestGapDeg = 1.5 * kRingStepDeg;
inline constexpr int kFromAbove = 2;
inline constexpr double kSamePlaceDeg = 5;  // an eighth of a ring's step

enum class Level { low, high, above };
Level level_of(double height_deg);  // bounds half way between the nominal heights

struct MissingView {
  Level level;
  double clock_deg;
};

struct ViewCoverage {
  std::vector<MissingView> missing;  // low before high before above, clockwise
  bool enough = false;
  std::vector<std::pair<std::string, std::string>> doubles;  // a photo and an earlier one of the same place
};

ViewCoverage coverage_of(const Dial& dial);

// "low, at 4 o'clock"; "from above".
std::string words_of(const MissingView& view);

}  // namespace interstice::bench
