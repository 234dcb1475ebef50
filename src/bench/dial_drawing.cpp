#include "bench/dial_drawing.h"

#include <fmt/core.h>

#include <cmath>
#include <numbers>

namespace interstice::bench {
namespace {

constexpr double kLowRadius = 82, kHighRadius = 50, kFaceRadius = 104;

struct Spot {
  double x, y;
};

Spot spot_at(double clock_deg, double radius) {
  const double a = clock_deg * std::numbers::pi / 180;
  return {radius * std::sin(a), -radius * std::cos(a)};
}

// Heights run inwards without steps: 0 degrees at the face's edge, 90 in its middle.
double radius_of(double height_deg) {
  if (height_deg <= kLowDeg)
    return kFaceRadius - (kFaceRadius - kLowRadius) * std::max(0.0, height_deg) / kLowDeg;
  if (height_deg <= kHighDeg)
    return kLowRadius - (kLowRadius - kHighRadius) * (height_deg - kLowDeg) / (kHighDeg - kLowDeg);
  return kHighRadius * (kAboveDeg - std::min(kAboveDeg, height_deg)) / (kAboveDeg - kHighDeg);
}

std::string circle(const char* kind, Spot at, double radius) {
  return fmt::format("<circle class=\"{}\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\"/>", kind, at.x, at.y,
                     radius);
}

std::string words(const Dial& dial, const ViewCoverage& coverage) {
  std::string out = std::to_string(dial.standpoints.size()) + " photos placed.";
  if (coverage.enough) return out + " Nothing is missing.";
  out += " Missing:";
  for (std::size_t i = 0; i < coverage.missing.size(); ++i)
    out += (i > 0 ? "; " : " ") + words_of(coverage.missing[i]);
  return out + ".";
}

}  // namespace

std::string dial_svg(const Dial& dial, const ViewCoverage& coverage) {
  std::string out = "<svg class=\"dial\" viewBox=\"-128 -128 256 256\" role=\"img\" aria-label=\"" +
                    words(dial, coverage) + "\">" + circle("face", {0, 0}, kFaceRadius) +
                    circle("track", {0, 0}, kLowRadius) + circle("track", {0, 0}, kHighRadius) +
                    circle("form", {0, 0}, 24);
  for (int hour = 1; hour <= 12; ++hour) {
    const Spot from = spot_at(hour * 30, kFaceRadius), to = spot_at(hour * 30, kFaceRadius - 4),
               label = spot_at(hour * 30, kFaceRadius + 11);
    out +=
        fmt::format("<path class=\"hour\" d=\"M{:.1f} {:.1f}L{:.1f} {:.1f}\"/>", from.x, from.y, to.x, to.y);
    if (hour % 3 != 0) continue;
    out += fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\">{}</text>", label.x, label.y + 4, hour);
  }
  for (const MissingView& view : coverage.missing) {
    const double radius = view.level == Level::low ? kLowRadius : view.level == Level::high ? kHighRadius : 0;
    out += circle("wanted", spot_at(view.clock_deg, radius), view.level == Level::above ? 14 : 9);
  }
  for (const Standpoint& s : dial.standpoints)
    out += circle("taken", spot_at(s.clock_deg, radius_of(s.height_deg)), 7);
  return out + "</svg>";
}

}  // namespace interstice::bench
