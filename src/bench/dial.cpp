#include "bench/dial.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::bench {
namespace {

double turned(double deg) {
  const double t = std::fmod(deg, 360.0);
  return t < 0 ? t + 360 : t;
}

// Views that close every gap of a ring that is too wide, evenly.
void find_gaps(std::vector<double> clock_deg, Level level, std::vector<MissingView>& missing) {
  std::sort(clock_deg.begin(), clock_deg.end());
  const std::size_t n = clock_deg.size();
  std::vector<MissingView> found;
  for (std::size_t i = 0; i < n; ++i) {
    const double from = clock_deg[i], to = i + 1 < n ? clock_deg[i + 1] : clock_deg[0] + 360;
    const double gap = to - from;
    if (gap <= kWidestGapDeg) continue;
    const int more = std::max(1, static_cast<int>(std::ceil(gap / kRingStepDeg - 1e-9)) - 1);
    for (int k = 1; k <= more; ++k) found.push_back({level, turned(from + gap * k / (more + 1))});
  }
  if (n == 0) {
    for (double at = 0; at < 360; at += kRingStepDeg) found.push_back({level, at});
  }
  std::sort(found.begin(), found.end(),
            [](const MissingView& a, const MissingView& b) { return a.clock_deg < b.clock_deg; });
  missing.insert(missing.end(), found.begin(), found.end());
}

// Between the directions two photos were taken from, seen from the form.
double apart_deg(const Standpoint& a, const Standpoint& b) {
  constexpr double kRad = std::numbers::pi / 180;
  const double cosine = std::sin(a.height_deg * kRad) * std::sin(b.height_deg * kRad) +
                        std::cos(a.height_deg * kRad) * std::cos(b.height_deg * kRad) *
                            std::cos((a.clock_deg - b.clock_deg) * kRad);
  return std::acos(std::clamp(cosine, -1.0, 1.0)) / kRad;
}

}  // namespace

Level level_of(double height_deg) {
  if (height_deg < (kLowDeg + kHighDeg) / 2) return Level::low;
  return height_deg < (kHighDeg + kAboveDeg) / 2 ? Level::high : Level::above;
}

ViewCoverage coverage_of(const Dial& dial) {
  ViewCoverage coverage;
  std::vector<double> low, high;
  int above = 0;
  for (std::size_t i = 0; i < dial.standpoints.size(); ++i) {
    const Standpoint& s = dial.standpoints[i];
    const Level level = level_of(s.height_deg);
    if (level == Level::low) low.push_back(turned(s.clock_deg));
    if (level == Level::high) high.push_back(turned(s.clock_deg));
    if (level == Level::above) ++above;
    for (std::size_t k = 0; k < i; ++k) {
      if (apart_deg(s, dial.standpoints[k]) >= kSamePlaceDeg) continue;
      coverage.doubles.emplace_back(s.photo, dial.standpoints[k].photo);
      break;
    }
  }
  find_gaps(low, Level::low, coverage.missing);
  find_gaps(high, Level::high, coverage.missing);
  for (; above < kFromAbove; ++above) coverage.missing.push_back({Level::above, 0});
  coverage.enough = coverage.missing.empty();
  return coverage;
}

std::string words_of(const MissingView& view) {
  if (view.level == Level::above) return "from above";
  int hour = static_cast<int>(std::lround(view.clock_deg / 30)) % 12;
  if (hour == 0) hour = 12;
  return (view.level == Level::low ? "low, at " : "high, at ") + std::to_string(hour) + " o'clock";
}

}  // namespace interstice::bench
