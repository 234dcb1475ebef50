#include "plan/plan.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>
#include <stdexcept>
#include <string_view>

#include "core/errors.h"
#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::plan {
namespace {

constexpr std::size_t kMaxTiles = 4000;
constexpr double kMaxSize_mm = 2000;  // a form larger than this is a wrong unit
// What work grows with, far beyond what anybody can cut: an outline of a piece 300 mm across with a point
// every 0.2 mm has 5000; 1500 pieces of 60 mm as they are made here have 600000 points; 4000 pieces of 40 mm
// have outlines of 640 m; a circle of the largest form is 6.3 m long.
constexpr std::size_t kMaxOutlinePoints = 5000, kMaxAllPoints = 1000000, kMaxProfilePoints = 5000;
constexpr double kMaxPerimeter_mm = 10000, kMaxAllPerimeters_mm = 1e6, kMaxProfile_mm = 10000;
// Plans are written and read on a grid of 0.1 um. In steps of the grid coordinates are whole numbers below
// 2^25, so whether edges cross is decided exactly, and a plan read, written and read again stays the same.
constexpr double kStepsPerMm = 1e4;
constexpr std::array<std::string_view, 3> kBacks{"flat", "fitted", "hollowed"};
constexpr double kThinnestWall_mm = 0.5;  // thinner than this nobody turns wood and resin

Eigen::Vector2d read_pair(const core::JsonNode& node) {
  const std::vector<double> xy = node.numbers(2);
  for (const double x : xy) {
    if (std::abs(x) > kMaxSize_mm)
      node.fail("is beyond " + std::to_string(int(kMaxSize_mm)) + " mm: wrong units?");
  }
  return {xy[0], xy[1]};
}

Eigen::Vector2d to_steps(const Eigen::Vector2d& mm) {
  return (mm * kStepsPerMm).array().round();
}

Eigen::Vector2d to_mm(const Eigen::Vector2d& steps) {
  return steps / kStepsPerMm;
}

geometry::Profile read_profile(const core::JsonNode& node) {
  std::vector<Eigen::Vector2d> rz;
  const std::size_t n = node.size();
  if (n < 3) node.fail("needs at least 3 points from pole to rim");
  if (n > kMaxProfilePoints) node.fail("has more than " + std::to_string(kMaxProfilePoints) + " points");
  for (std::size_t i = 0; i < n; ++i) rz.push_back(to_mm(to_steps(read_pair(node.at(i)))));
  if (std::abs(rz.front().x()) > 1e-3)
    node.at(std::size_t{0}).fail("the profile must start at the pole (r = 0)");
  rz.front().x() = 0;
  if (std::abs(rz.back().y()) > 1e-3) node.at(n - 1).fail("the profile must end on the rim (z = 0)");
  if (rz.back().x() < 5) node.fail("the rim's radius is under 5 mm: wrong units?");
  for (std::size_t i = 1; i < n; ++i) {
    if ((rz[i] - rz[i - 1]).norm() < 1e-6) node.at(i).fail("the point is repeated");
    if (rz[i].x() <= 0) node.at(i).fail("r must be positive beyond the pole");
  }
  double length = 0;
  for (std::size_t i = 1; i < n; ++i) length += (rz[i] - rz[i - 1]).norm();
  if (length > kMaxProfile_mm) {
    node.fail("is " + std::to_string(std::lround(length / 1000)) + " m long, the limit is " +
              std::to_string(std::lround(kMaxProfile_mm / 1000)) + " m: a profile is one smooth line");
  }
  try {
    return geometry::Profile(std::move(rz));
  } catch (const std::invalid_argument& e) {
    node.fail(e.what());
  }
}

void drop_repeated_points(geometry::Polygon& outline) {
  outline.erase(std::unique(outline.begin(), outline.end()), outline.end());
  while (outline.size() > 1 && outline.front() == outline.back()) outline.pop_back();
}

// Where two edges that meet do so, in whole steps.
Eigen::Vector2d meeting(const Eigen::Vector2d& a, const Eigen::Vector2d& b, const Eigen::Vector2d& c,
                        const Eigen::Vector2d& d) {
  const auto cross = [](const Eigen::Vector2d& u, const Eigen::Vector2d& v) {
    return u.x() * v.y() - u.y() * v.x();
  };
  const double parallel = cross(b - a, d - c);
  if (parallel == 0) return (c - a).dot(c - b) <= 0 ? c : (d - a).dot(d - b) <= 0 ? d : a;  // on one line
  return (a + cross(c - a, d - c) / parallel * (b - a)).array().round();
}

// Traced and offset outlines carry tiny loops at sharp corners: a loop of under a half per cent of the area
// is cut off at its crossing. Larger ones are somebody's mistake and stay. In steps.
void drop_small_loops(geometry::Polygon& outline) {
  for (int guard = 0; guard < 20; ++guard) {
    const auto hit = geometry::self_crossing(outline);
    if (!hit) return;
    const auto [i, j] = *hit;
    const auto at = [&](std::size_t k) { return outline.begin() + static_cast<std::ptrdiff_t>(k); };
    const Eigen::Vector2d x =
        meeting(outline[i], outline[i + 1], outline[j], outline[(j + 1) % outline.size()]);
    geometry::Polygon loop(at(i + 1), at(j + 1)), rest(outline.begin(), at(i + 1));
    loop.push_back(x);
    rest.push_back(x);
    rest.insert(rest.end(), at(j + 1), outline.end());
    const double a = std::abs(geometry::signed_area(loop)), b = std::abs(geometry::signed_area(rest));
    if (!(std::min(a, b) < 0.005 * std::max(a, b))) return;
    outline = a < b ? rest : loop;
    drop_repeated_points(outline);
  }
}

geometry::Polygon read_outline(const core::JsonNode& node) {
  geometry::Polygon outline;  // in steps
  const std::size_t n = node.size();
  if (n < 3) node.fail("an outline needs at least 3 points");
  if (n > kMaxOutlinePoints)
    node.fail("an outline has more than " + std::to_string(kMaxOutlinePoints) + " points");
  for (std::size_t i = 0; i < n; ++i) outline.push_back(to_steps(read_pair(node.at(i))));
  drop_repeated_points(outline);
  if (outline.size() < 3) node.fail("an outline needs at least 3 different points");
  if (const double around = geometry::perimeter(outline) / kStepsPerMm; around > kMaxPerimeter_mm) {
    node.fail("the outline is " + std::to_string(std::lround(around / 1000)) + " m long, the limit is " +
              std::to_string(std::lround(kMaxPerimeter_mm / 1000)) + " m");
  }
  drop_small_loops(outline);
  if (const auto hit = geometry::self_crossing(outline)) {
    node.fail("the outline crosses itself (edges " + std::to_string(hit->first) + " and " +
              std::to_string(hit->second) + ")");
  }
  const double area = geometry::signed_area(outline);
  for (Eigen::Vector2d& p : outline) p = to_mm(p);
  if (std::abs(area) < kStepsPerMm * kStepsPerMm)
    node.fail("the outline encloses less than 1 square mm: wrong units?");
  if (area < 0) std::reverse(outline.begin(), outline.end());
  return outline;
}

std::string read_label(const core::JsonNode& node) {
  std::string label = node.text(40);
  if (label.empty()) node.fail("a label must not be empty");
  return label;
}

// What becomes of the pieces: how their backs are made, what turning leaves.
void read_making(const core::JsonNode& root, Plan& plan) {
  if (root.has("back")) {
    const std::string back = root.at("back").text(40);
    const auto* known = std::find(kBacks.begin(), kBacks.end(), back);
    if (known == kBacks.end()) root.at("back").fail("must be \"flat\", \"fitted\" or \"hollowed\"");
    plan.back = static_cast<Back>(known - kBacks.begin());
  }
  if (root.has("finished_wall")) {
    const std::vector<double> wall = root.at("finished_wall").numbers(2);
    plan.finished_wall = FinishedWall{wall[0], wall[1]};
    if (const auto fault = fault_of(*plan.finished_wall, plan.tile_thickness_mm))
      root.at("finished_wall").fail(*fault);
  }
}

}  // namespace

const char* name_of(Back back) {
  return kBacks[static_cast<std::size_t>(back)].data();
}

std::optional<std::string> fault_of(const FinishedWall& wall, double tile_thickness_mm) {
  if (!(wall.from_mm >= 0) || !(wall.to_mm <= tile_thickness_mm)) {
    return fmt::format("must lie within the stock, from 0 (the outer face) to {:g} mm", tile_thickness_mm);
  }
  if (!(wall.to_mm - wall.from_mm >= kThinnestWall_mm))
    return "leaves no wall: two depths below the outer face, the first the smaller";
  return std::nullopt;
}

Plan parse_plan(const std::string& json_text, const std::string& file) {
  const nlohmann::json document = core::parse_json(json_text, file);
  const core::JsonNode root(document, file);
  Plan plan;
  if (root.has("name")) plan.name = root.at("name").text();
  if (root.at("units").text() != "mm") root.at("units").fail("only \"mm\" is understood");
  plan.profile = read_profile(root.at("profile"));
  plan.tile_thickness_mm = root.at("tile_thickness").number(0.5, 200);
  plan.bevel_deg = root.has("bevel_deg") ? root.at("bevel_deg").number(-45, 60) : 0.0;
  if (root.has("smallest_fill")) plan.smallest_fill_mm = root.at("smallest_fill").number(0.05, 50);
  if (root.has("planned_gap")) plan.planned_gap_mm = root.at("planned_gap").number(0, 100);
  read_making(root, plan);
  const core::JsonNode tiles = root.at("tiles");
  if (tiles.size() == 0) tiles.fail("a plan needs at least one piece");
  if (tiles.size() > kMaxTiles) tiles.fail("a plan has at most " + std::to_string(kMaxTiles) + " pieces");
  std::set<std::string> labels;
  std::size_t points = 0;
  double around_mm = 0;
  for (std::size_t i = 0; i < tiles.size(); ++i) points += tiles.at(i).at("outline").size();
  if (points > kMaxAllPoints)
    tiles.fail("the outlines have more than " + std::to_string(kMaxAllPoints) + " points");
  for (std::size_t i = 0; i < tiles.size(); ++i) {
    const core::JsonNode node = tiles.at(i);
    PlannedTile tile;
    tile.label = read_label(node.at("label"));
    if (!labels.insert(tile.label).second) {
      node.at("label").fail("the label \"" + core::one_line(tile.label, 40) + "\" stands twice");
    }
    tile.ring = node.has("ring") ? node.at("ring").integer(1, 1000) : 1;
    tile.outline = read_outline(node.at("outline"));
    around_mm += geometry::perimeter(tile.outline);
    if (around_mm > kMaxAllPerimeters_mm) tiles.fail("the outlines are more than 1000 m long together");
    plan.tiles.push_back(std::move(tile));
  }
  return plan;
}

Plan read_plan(const std::filesystem::path& path) {
  return parse_plan(core::read_file(path, 64u << 20), path.string());
}

std::string write_plan(const Plan& plan) {
  const auto pairs = [](const std::vector<Eigen::Vector2d>& points) {
    nlohmann::ordered_json list = nlohmann::ordered_json::array();
    for (const Eigen::Vector2d& p : points) {
      const Eigen::Vector2d rounded = to_mm(to_steps(p));
      list.push_back({rounded.x(), rounded.y()});
    }
    return list;
  };
  nlohmann::ordered_json root;
  root["name"] = plan.name;
  root["units"] = "mm";
  root["profile"] = pairs(plan.profile.points());
  root["tile_thickness"] = plan.tile_thickness_mm;
  root["bevel_deg"] = plan.bevel_deg;
  root["smallest_fill"] = plan.smallest_fill_mm;
  root["planned_gap"] = plan.planned_gap_mm;
  if (plan.back != Back::flat) root["back"] = name_of(plan.back);
  if (plan.finished_wall) root["finished_wall"] = {plan.finished_wall->from_mm, plan.finished_wall->to_mm};
  root["tiles"] = nlohmann::ordered_json::array();
  for (const PlannedTile& tile : plan.tiles) {
    root["tiles"].push_back({{"label", tile.label}, {"ring", tile.ring}, {"outline", pairs(tile.outline)}});
  }
  return root.dump(1, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace interstice::plan
