#include "geometry/region.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <polyclipping/clipper.hpp>

namespace interstice::geometry {
namespace {

constexpr double kGrid = 1e4;            // integer steps per mm
constexpr double kArcTolerance = 0.004;  // mm between a round corner and its chords

ClipperLib::Path to_path(const Polygon& polygon) {
  ClipperLib::Path path;
  path.reserve(polygon.size());
  for (const Eigen::Vector2d& p : polygon) {
    path.emplace_back(static_cast<ClipperLib::cInt>(std::llround(p.x() * kGrid)),
                      static_cast<ClipperLib::cInt>(std::llround(p.y() * kGrid)));
  }
  return path;
}

ClipperLib::Paths to_paths(const Region& region) {
  ClipperLib::Paths paths;
  for (const Polygon& polygon : region) paths.push_back(to_path(polygon));
  return paths;
}

Region from_paths(const ClipperLib::Paths& paths) {
  Region region;
  for (const ClipperLib::Path& path : paths) {
    Polygon polygon;
    for (const ClipperLib::IntPoint& p : path) {
      polygon.emplace_back(static_cast<double>(p.X) / kGrid, static_cast<double>(p.Y) / kGrid);
    }
    if (polygon.size() >= 3) region.push_back(std::move(polygon));
  }
  return region;
}

Region combine(ClipperLib::ClipType type, const Region& a, const Region& b) {
  ClipperLib::Clipper clipper;
  clipper.AddPaths(to_paths(a), ClipperLib::ptSubject, true);
  if (!b.empty()) clipper.AddPaths(to_paths(b), ClipperLib::ptClip, true);
  ClipperLib::Paths out;
  clipper.Execute(type, out, ClipperLib::pftNonZero, ClipperLib::pftNonZero);
  return from_paths(out);
}

}  // namespace

Region united(const Region& parts) {
  return combine(ClipperLib::ctUnion, parts, {});
}

Region difference(const Region& from, const Region& take_away) {
  return combine(ClipperLib::ctDifference, from, take_away);
}

Region intersection(const Region& a, const Region& b) {
  return combine(ClipperLib::ctIntersection, a, b);
}

Region offset_round(const Region& region, double distance) {
  ClipperLib::ClipperOffset offset(2.0, kArcTolerance * kGrid);
  offset.AddPaths(to_paths(region), ClipperLib::jtRound, ClipperLib::etClosedPolygon);
  ClipperLib::Paths out;
  offset.Execute(out, distance * kGrid);
  return from_paths(out);
}

Region opened(const Region& region, double radius) {
  return offset_round(offset_round(region, -radius), radius);
}

double area(const Region& region) {
  double sum = 0;
  for (const Polygon& polygon : region) sum += signed_area(polygon);
  return sum;
}

Polygon largest(const Region& region) {
  const auto best = std::max_element(region.begin(), region.end(), [](const Polygon& a, const Polygon& b) {
    return signed_area(a) < signed_area(b);
  });
  return best == region.end() || signed_area(*best) <= 0 ? Polygon() : *best;
}

Polygon ribbon(const std::vector<Eigen::Vector2d>& line, const std::vector<double>& half_widths) {
  const std::size_t n = line.size();
  std::vector<Eigen::Vector2d> left(n), right(n);
  std::vector<Eigen::Vector2d> across(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Eigen::Vector2d before = i > 0 ? (line[i] - line[i - 1]).normalized() : Eigen::Vector2d(0, 0);
    const Eigen::Vector2d after = i + 1 < n ? (line[i + 1] - line[i]).normalized() : Eigen::Vector2d(0, 0);
    const Eigen::Vector2d t = (before + after).normalized();
    across[i] = {-t.y(), t.x()};
    const double mitre = i > 0 && i + 1 < n ? std::max(0.7, t.dot(after)) : 1.0;
    left[i] = line[i] + half_widths[i] / mitre * across[i];
    right[i] = line[i] - half_widths[i] / mitre * across[i];
  }
  Polygon out = right;
  const auto cap = [&](const Eigen::Vector2d& centre, double r, const Eigen::Vector2d& from) {
    const double start = std::atan2(from.y(), from.x());
    for (int k = 1; k < 12; ++k) {
      const double t = start + std::numbers::pi * k / 12;
      out.push_back(centre + r * Eigen::Vector2d(std::cos(t), std::sin(t)));
    }
  };
  cap(line[n - 1], half_widths[n - 1], -across[n - 1]);
  out.insert(out.end(), left.rbegin(), left.rend());
  cap(line[0], half_widths[0], across[0]);
  return out;
}

}  // namespace interstice::geometry
