#include "seams/advice.h"

#include <fmt/core.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/median.h"

namespace interstice::seams {

using Eigen::Vector3d;

namespace {

constexpr double kRadian = std::numbers::pi / 180;
constexpr double kSlope = 0.6;                 // of a view across a piece: 31 degrees off the normal
constexpr double kLeastHeight = 15 * kRadian;  // over the bench, so that the camera is clear of it
constexpr double kAbout = 15 * kRadian;        // a photo from within this is from about there
constexpr double kWide = 1.25;
// A wall above an edge of the lowest ring is hidden from below this height; asked for is a camera well below it, as low as
// a phone on its edge on the bench gets half a metre away.
constexpr double kLow = 15 * kRadian, kLowWanted = 10 * kRadian;
constexpr double kBeside = 45 * kRadian;  // a camera further round than this sees the edge from its end

double usual_distance_mm(const scan::Scan& scan, const Vector3d& at) {
  std::vector<double> distances;
  for (const scan::ScannedPhoto& photo : scan.photos) distances.push_back((photo.centre() - at).norm());
  return distances.empty() ? 0 : core::median(std::move(distances));
}

bool taken_from_about(const scan::Scan& scan, const Vector3d& at, const Vector3d& direction) {
  return std::any_of(scan.photos.begin(), scan.photos.end(), [&](const scan::ScannedPhoto& photo) {
    return (photo.centre() - at).normalized().dot(direction) > std::cos(kAbout) &&
           photo.lens.in_frame(photo.project(at), 0);
  });
}

std::string line_for(const scan::Scan& scan, const FitSeam& seam, const ClockFace& clock,
                     const Vector3d& view) {
  const double usual = usual_distance_mm(scan, seam.at);
  const double distance = usual * (taken_from_about(scan, seam.at, view) ? 0.5 : 1.0);
  const int height =
      5 * static_cast<int>(std::lround(std::asin(std::clamp(view.z(), -1.0, 1.0)) / kRadian / 5));
  const int centimetres = std::max(5, 5 * static_cast<int>(std::lround(distance / 50)));
  if (height >= 75) return fmt::format("photograph it from straight above, about {} cm away", centimetres);
  return fmt::format(
      "photograph it from {} o'clock ({} at 12, seen from above), {} degrees up, about {} cm away",
      hour_at(clock, std::atan2(view.y(), view.x())), clock.label.substr(0, 40), height, centimetres);
}

// From straight outward of the seam, low over the bench; empty where a photo was taken from about there.
std::optional<Vector3d> low_view_wanted(const scan::Scan& scan, const geometry::Profile& form,
                                        const FitSeam& seam) {
  const Eigen::Vector2d outward = form.normal(seam.map).head<2>().normalized();
  if (!outward.allFinite()) return std::nullopt;
  const bool taken =
      std::any_of(scan.photos.begin(), scan.photos.end(), [&](const scan::ScannedPhoto& photo) {
        const Vector3d view = (photo.centre() - seam.at).normalized();
        return view.z() < std::sin(kLow) && view.head<2>().normalized().dot(outward) > std::cos(kBeside) &&
               photo.lens.in_frame(photo.project(seam.at), 0);
      });
  if (taken) return std::nullopt;
  return Vector3d(std::cos(kLowWanted) * outward.x(), std::cos(kLowWanted) * outward.y(),
                  std::sin(kLowWanted));
}

}  // namespace

int hour_at(const ClockFace& clock, double theta) {
  const double hours = (clock.theta - theta) / (std::numbers::pi / 6);  // clocks turn clockwise
  const int hour = static_cast<int>(std::lround(hours)) % 12;
  return hour <= 0 ? hour + 12 : hour;
}

std::vector<Vector3d> views_wanted(const FitSeam& seam, const geometry::Profile& form) {
  const Vector3d normal = form.normal(seam.map);
  Vector3d along = form.towards_pole(seam.map);
  if (seam.samples.size() >= 2) {
    const SeamSample &first = seam.samples.front(), &last = seam.samples.back();
    const Vector3d chord = (last.a + last.b - first.a - first.b) / 2;
    if (chord.norm() > 1) along = chord.normalized();
  }
  const Vector3d across = normal.cross(along).normalized();
  std::vector<Vector3d> out;
  for (const double side : {-1.0, 1.0}) {
    Vector3d view = (normal + side * kSlope * across).normalized();
    const double level = view.head<2>().norm();
    if (view.z() < std::sin(kLeastHeight) && level > 1e-6) {
      view.head<2>() *= std::cos(kLeastHeight) / level;
      view.z() = std::sin(kLeastHeight);
    }
    out.push_back(view);
  }
  return out;
}

std::vector<std::string> where_to_photograph(const scan::Scan& scan, const geometry::Profile& form,
                                             const FitSeam& seam, const ClockFace& clock) {
  std::vector<std::string> out;
  for (const Vector3d& view : views_wanted(seam, form)) {
    const std::string text = line_for(scan, seam, clock, view);
    if (std::find(out.begin(), out.end(), text) == out.end()) out.push_back(text);
  }
  return out;
}

void advise(const scan::Scan& scan, const geometry::Profile& form, const ClockFace& clock,
            const std::set<std::string>& lowest_ring, std::vector<FitSeam>& seams) {
  std::vector<double> stated;
  for (const FitSeam& s : seams) {
    if (s.u95_mm) stated.push_back(*s.u95_mm);
  }
  const double usual = stated.empty() ? 0 : core::median(std::move(stated));
  for (FitSeam& s : seams) {
    const bool wide = s.verdict == Verdict::doubtful && s.u95_mm && *s.u95_mm > kWide * usual;
    if (s.verdict == Verdict::unseen || wide) s.advice = where_to_photograph(scan, form, s, clock);
    const bool upper_edge = lowest_ring.contains(s.tiles[0]) != lowest_ring.contains(s.tiles[1]);
    if (!upper_edge || (s.verdict != Verdict::unseen && s.verdict != Verdict::doubtful)) continue;
    if (const auto low = low_view_wanted(scan, form, s)) s.advice.push_back(line_for(scan, s, clock, *low));
  }
}

}  // namespace interstice::seams
