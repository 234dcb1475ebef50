#include "layout/form_input.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <stdexcept>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"
#include "core/name_check.h"
#include "geometry/polygon.h"
#include "layout/form_table.h"

namespace interstice::layout {
namespace {

using Eigen::Vector2d;

constexpr std::uintmax_t kMaxBytes = 16u << 20;
constexpr std::size_t kMaxPoints = 100000;
constexpr std::size_t kMaxUsed = 5000;  // as a plan's profile may have
constexpr double kMaxLength_mm = 10000;
constexpr double kMaxHeight_mm = 2000;  // as a plan's: larger is a wrong unit
constexpr double kSame_mm = 1e-6;       // nearer than this is the same place

struct NumberedPoints {
  std::vector<Vector2d> points;
  std::vector<std::string> places;
};

NumberedPoints read_json_profile(const std::string& text, const std::string& file) {
  const nlohmann::json document = core::parse_json(text, file);
  const core::JsonNode root(document, file);
  const char* key = root.has("form_profile") ? "form_profile" : "profile";
  const core::JsonNode list = root.at(key);
  NumberedPoints out;
  const std::size_t n = list.size();
  if (n > kMaxPoints) list.fail("holds more than 100000 points");
  for (std::size_t i = 0; i < n; ++i) {
    const std::vector<double> rz = list.at(i).numbers(2);
    out.points.emplace_back(rz[0], rz[1]);
    out.places.push_back(list.at(i).where());
  }
  return out;
}

void check_crossing(const std::vector<Vector2d>& points, const std::vector<std::string>& places,
                    const std::string& file) {
  const auto crossing = [](const Vector2d& a, const Vector2d& b, const Vector2d& c, const Vector2d& d) {
    const auto side = [](const Vector2d& p, const Vector2d& q, const Vector2d& r) {
      return (q.x() - p.x()) * (r.y() - p.y()) - (q.y() - p.y()) * (r.x() - p.x());
    };
    return side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
  };
  for (std::size_t i = 0; i + 1 < points.size(); ++i) {
    for (std::size_t j = i + 2; j + 1 < points.size(); ++j) {
      if (points.size() > 4000 && j > i + 4000) break;
      if (crossing(points[i], points[i + 1], points[j], points[j + 1])) {
        throw core::InputError(file,
                               "the profile crosses itself: after " + places[i] + " and after " + places[j]);
      }
    }
  }
}

void drop_repeats(std::vector<Vector2d>& points, std::vector<std::string>& places) {
  std::vector<Vector2d> kept;
  std::vector<std::string> kept_places;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (!kept.empty() && (points[i] - kept.back()).norm() < kSame_mm) continue;
    kept.push_back(points[i]);
    kept_places.push_back(places[i]);
  }
  points = std::move(kept), places = std::move(kept_places);
}

// In a drawing the pole is the end where the line runs level (a surface of revolution is level at its pole).
bool pole_is_last(const std::vector<Vector2d>& p, bool from_drawing) {
  if (!from_drawing) return std::abs(p.back().x()) < std::abs(p.front().x());
  const Vector2d first = (p[1] - p[0]).normalized(), last = (p[p.size() - 1] - p[p.size() - 2]).normalized();
  return std::abs(last.y()) < std::abs(first.y());
}

// Points of a profile with where each stands in its file, and what was understood about them.
struct ProfilePoints {
  std::vector<Vector2d> points;
  std::vector<std::string> places;
  std::string file;
  std::vector<std::string> notes;

  [[noreturn]] void fail(const std::string& fault) const { throw core::InputError(file, fault); }
};

// Drawn or scanned more finely than anybody turns.
void thin_out(ProfilePoints& p) {
  if (p.points.size() <= kMaxUsed) return;
  const std::size_t step = (p.points.size() - 1 + kMaxUsed - 2) / (kMaxUsed - 1);
  p.notes.push_back(std::to_string(p.points.size()) + " points were given, of which one in " +
                    std::to_string(step) + " is used");
  std::size_t kept = 0;
  for (std::size_t i = 0; i < p.points.size(); ++i) {
    if (i % step != 0 && i + 1 != p.points.size()) continue;
    p.points[kept] = p.points[i], p.places[kept] = p.places[i];
    ++kept;
  }
  p.points.resize(kept), p.places.resize(kept);
}

// From the pole to the rim, the axis at r = 0, radii positive.
void begin_at_pole(ProfilePoints& p, bool from_drawing) {
  if (pole_is_last(p.points, from_drawing)) {
    std::reverse(p.points.begin(), p.points.end());
    std::reverse(p.places.begin(), p.places.end());
    p.notes.push_back("the points were given from the rim to the pole and are taken in reverse");
  }
  if (!from_drawing) return;
  const double axis = p.points[0].x();
  double side = 0;
  for (Vector2d& q : p.points) q.x() -= axis, side += q.x();
  if (side < 0) {
    for (Vector2d& q : p.points) q.x() = -q.x();
  }
  p.notes.push_back("the axis goes through the end of the line that runs level");
}

void check_radii(ProfilePoints& p) {
  double size = 0;
  for (const Vector2d& q : p.points) size = std::max(size, std::abs(q.x()));
  if (size < 15)
    p.fail(fmt::format("the form would be only {:.3g} mm across: wrong units? Say cm or inches", 2 * size));
  if (size > 1000) p.fail(fmt::format("the form would be {:.4g} mm across: wrong units?", 2 * size));
  if (std::abs(p.points[0].x()) > 0.02 * size) {
    p.fail(fmt::format("the profile does not reach the pole: its smallest radius is {:.4g} mm",
                       p.points[0].x()) +
           " (" + p.places[0] + "); add a point with r = 0");
  }
  p.points[0].x() = 0;
  for (std::size_t i = 1; i < p.points.size(); ++i) {
    if (p.points[i].x() < kSame_mm) p.fail(p.places[i] + ": r must be positive beyond the pole");
  }
}

// The rim down, at height 0.
void stand_on_rim(ProfilePoints& p) {
  if (p.points.front().y() < p.points.back().y()) {
    for (Vector2d& q : p.points) q.y() = -q.y();
    p.notes.push_back("the rim was above the pole; the profile is turned over, rim down");
  }
  const double rim = p.points.back().y();
  if (std::abs(rim) > 1e-9) {
    for (Vector2d& q : p.points) q.y() -= rim;
    p.notes.push_back(fmt::format("heights are counted from the rim (z = {:.4g} in the file)", rim));
  }
  for (std::size_t i = 0; i + 1 < p.points.size(); ++i) {
    if (p.points[i].y() < -kSame_mm) p.fail(p.places[i] + ": the profile runs below its rim");
  }
}

void check_extent(const ProfilePoints& p) {
  double height = 0, length = 0;
  for (const Vector2d& q : p.points) height = std::max(height, q.y());
  if (height > kMaxHeight_mm) p.fail(fmt::format("the form would be {:.4g} mm high: wrong units?", height));
  for (std::size_t i = 1; i < p.points.size(); ++i) length += (p.points[i] - p.points[i - 1]).norm();
  if (length > kMaxLength_mm) {
    p.fail(fmt::format("the profile is {:.4g} mm long, the limit is {:g} mm: a profile is one smooth line",
                       length, kMaxLength_mm));
  }
}

}  // namespace

FormInput profile_from_points(std::vector<Vector2d> points, const std::vector<std::string>& places,
                              const std::string& file, bool from_drawing) {
  ProfilePoints p{std::move(points), places, file, {}};
  drop_repeats(p.points, p.places);
  if (p.points.size() < 3) p.fail("a profile needs at least 3 different points");
  for (std::size_t i = 0; i < p.points.size(); ++i) {
    if (!p.points[i].allFinite()) p.fail(p.places[i] + ": not a finite number");
  }
  if (p.points.size() > kMaxPoints) p.fail("holds more than 100000 points");
  thin_out(p);
  begin_at_pole(p, from_drawing);
  check_radii(p);
  stand_on_rim(p);
  check_extent(p);
  check_crossing(p.points, p.places, file);
  p.points.back().y() = 0;
  FormInput form;
  form.notes = std::move(p.notes);
  try {
    form.profile = geometry::Profile(std::move(p.points));
  } catch (const std::invalid_argument& e) {
    throw core::InputError(file, e.what());
  }
  return form;
}

FormInput read_form(const std::filesystem::path& path, const ProfileReading& reading) {
  const std::string ending = core::lower_ascii(path.extension().string());
  const std::string file = path.string();
  if (ending == ".svg" || ending == ".dxf") {
    const DrawnProfile drawn =
        ending == ".svg" ? read_svg_profile(core::read_file(path, kMaxBytes), file) : read_dxf_profile(path);
    const double unit = drawn.unit_mm.value_or(reading.unit_mm.value_or(1));
    std::vector<Vector2d> points;
    std::vector<std::string> places;
    for (std::size_t i = 0; i < drawn.points.size(); ++i) {
      points.push_back(drawn.points[i] * unit);
      places.push_back("point " + std::to_string(i + 1));
    }
    return profile_from_points(std::move(points), places, file, true);
  }
  const std::string text = core::read_file(path, kMaxBytes);
  if (ending == ".json") {
    NumberedPoints read = read_json_profile(text, file);
    return profile_from_points(std::move(read.points), read.places, file, false);
  }
  FormTable table = read_form_table(text, file, reading);
  if (table.points.empty()) throw core::InputError(file, "holds no numbers: two a line are needed, r and z");
  FormInput form = profile_from_points(std::move(table.points), table.places, file, false);
  form.notes.insert(form.notes.begin(), table.notes.begin(), table.notes.end());
  return form;
}

}  // namespace interstice::layout
