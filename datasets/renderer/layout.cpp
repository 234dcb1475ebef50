#include "renderer/layout.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <numbers>
#include <numeric>

#include "core/errors.h"
#include "renderer/angles.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kOutlineStep = 0.8;   // mm: a corner of 4 mm radius is then true to 0.02 mm
constexpr double kRimClearance = 0.8;  // mm: pieces of the first ring stay this far off the bench

struct Site {
  int ring;
  Vector2d uv;
  Vector3d raised;
};

std::vector<Site> make_sites(const Form& form, const LayoutOptions& o, std::uint64_t seed) {
  Random random(key(seed, 11));
  const double cap = 0.52 * o.piece_size_mm, run = form.length_mm() - cap;
  const int rows = std::max(1, static_cast<int>(std::lround(run / (1.02 * o.piece_size_mm))));
  std::vector<Site> sites;
  const auto add = [&](int ring, double rho, double theta) {
    const Vector2d uv = rho * Vector2d(std::cos(theta), std::sin(theta));
    sites.push_back({ring, uv, form.point(uv, o.thickness_mm)});
  };
  for (int row = 0; row < rows; ++row) {
    const double rho = form.length_mm() - run * (row + 0.5) / rows;
    const double around = 2 * std::numbers::pi * (form.meridian(rho).x() + 0.5 * o.thickness_mm);
    const int count = std::max(3, static_cast<int>(std::lround(around / o.piece_size_mm)));
    const double first = random.between(0, 2 * std::numbers::pi / count);
    for (int k = 0; k < count; ++k) {
      const double along = o.irregularity * random.between(-0.17, 0.17) * 2 * std::numbers::pi / count;
      const double across = o.irregularity * random.between(-0.12, 0.12) * run / rows;
      add(row + 1, rho + across, first + 2 * std::numbers::pi * k / count + along + radians(o.turn_deg));
    }
  }
  add(rows + 1, o.irregularity * random.between(0, 0.06) * o.piece_size_mm,
      random.between(0, 2 * std::numbers::pi) + radians(o.turn_deg));
  return sites;
}

// What of the face's plane belongs to the site: half a gap off the planes midway to the other sites, then
// drawn in by `inset` within the face.
Outline cell(const std::vector<Site>& sites, std::size_t own, const Frame& frame, double gap, double inset,
             double least_z) {
  std::vector<HalfPlane> planes;
  const auto add = [&](const Vector3d& middle, const Vector3d& outward, double off_plane) {
    const Vector2d n(outward.dot(frame.axes.col(0)), outward.dot(frame.axes.col(1)));
    planes.push_back({n, (middle - frame.origin).dot(outward) - off_plane - inset * n.norm()});
  };
  for (std::size_t j = 0; j < sites.size(); ++j) {
    const Vector3d d = sites[j].raised - sites[own].raised;
    if (j == own || d.norm() > 150) continue;
    add(0.5 * (sites[j].raised + sites[own].raised), d.normalized(), 0.5 * gap);
  }
  add(Vector3d(0, 0, least_z), -Vector3d::UnitZ(), 0);
  return common_polygon(planes, 80);
}

PlannedPiece plan_piece(const Form& form, const LayoutOptions& o, const std::vector<Site>& sites,
                        std::size_t own, double bevel_deg) {
  const double growth = o.thickness_mm * std::tan(radians(bevel_deg));
  const double corner = std::max(o.corner_radius_mm, growth + 1.5);
  PlannedPiece piece;
  piece.ring = sites[own].ring;
  piece.centre = sites[own].uv;
  // The face stands over the footprint's centroid, which follows from the face: round and round until it
  // settles.
  for (int round = 0; round < 40; ++round) {
    const Frame frame = form.frame(piece.centre, o.thickness_mm);
    // The root lies below the face, drawn in by the bevel; both have to stay off the bench.
    const double up = frame.axes(2, 2), least_z = o.thickness_mm * up - growth * std::sqrt(1 - up * up);
    const Outline core =
        cell(sites, own, frame, o.planned_gap_mm, corner, kRimClearance + std::max(0.0, least_z));
    if (core.empty())
      throw core::InputError("scene: the pieces are too small for their gap, bevel and corners");
    piece.face = grown_convex(core, corner, kOutlineStep);
    piece.footprint.clear();
    for (const Vector2d& p : grown_convex(core, corner - growth, kOutlineStep)) {
      piece.footprint.push_back(
          form.project(frame.to_bowl({p.x(), p.y(), -o.thickness_mm}), frame.axes.col(2)));
    }
    const Vector2d centre = area_centroid(piece.footprint);
    if ((centre - piece.centre).norm() < 1e-4) break;
    piece.centre = centre;
  }
  return piece;
}

// The least whole bevel, at least 10 degrees, that leaves planned roots half a gap (or 0.3 mm) apart: two
// faces whose normals are 2 alpha apart close in by thickness x tan(alpha) a side on the way down, the bevel
// opens them.
double least_bevel_deg(const Form& form, const LayoutOptions& o, const std::vector<Site>& sites) {
  double alpha = 0;
  for (const Site& a : sites) {
    const Vector3d normal = form.frame(a.uv, 0).axes.col(2);
    for (const Site& b : sites) {
      if (&a == &b || (a.raised - b.raised).norm() > 1.45 * o.piece_size_mm) continue;
      alpha = std::max(alpha, 0.5 * std::acos(std::min(1.0, normal.dot(form.frame(b.uv, 0).axes.col(2)))));
    }
  }
  const double spare = o.planned_gap_mm - std::min(0.3, 0.5 * o.planned_gap_mm);
  const double least = std::atan(std::tan(alpha) - 0.5 * spare / o.thickness_mm) * 180 / std::numbers::pi;
  return std::max(10.0, std::ceil(least));
}

// Which sites' pieces are wanted: all, or so many nearest to theta = 0 a third of the way up.
std::vector<char> wanted_sites(const std::vector<Site>& sites, const Form& form, const LayoutOptions& o) {
  std::vector<char> wanted(sites.size(), 1);
  if (o.pieces <= 0 || static_cast<std::size_t>(o.pieces) >= sites.size()) return wanted;
  const double a = radians(o.turn_deg), rho = 0.66 * form.length_mm();
  const Vector3d middle = form.point(rho * Vector2d(std::cos(a), std::sin(a)), o.thickness_mm);
  std::vector<std::size_t> order(sites.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t i, std::size_t j) {
    return (sites[i].raised - middle).norm() < (sites[j].raised - middle).norm();
  });
  for (std::size_t k = static_cast<std::size_t>(o.pieces); k < order.size(); ++k) wanted[order[k]] = 0;
  return wanted;
}

}  // namespace

Layout make_layout(const Form& form, const LayoutOptions& o, std::uint64_t seed) {
  const std::vector<Site> sites = make_sites(form, o, seed);
  Layout layout;
  layout.bevel_deg = o.bevel_deg > 0 ? o.bevel_deg : least_bevel_deg(form, o, sites);
  const std::vector<char> wanted = wanted_sites(sites, form, o);
  int ring = 0, number = 0;
  for (std::size_t i = 0; i < sites.size(); ++i) {
    number = sites[i].ring == ring ? number + 1 : 1;
    ring = sites[i].ring;
    if (!wanted[i]) continue;
    PlannedPiece piece = plan_piece(form, o, sites, i, layout.bevel_deg);
    char label[16];
    std::snprintf(label, sizeof label, "%c%02d", 'A' + ring - 1, number);
    piece.label = label;
    layout.pieces.push_back(std::move(piece));
  }
  return layout;
}

std::string plan_json(const std::string& name, const Form& form, const LayoutOptions& o,
                      const Layout& layout) {
  using nlohmann::ordered_json;
  const auto rounded = [](double x) { return std::round(x * 1e4) / 1e4; };
  const auto points = [&](const std::vector<Vector2d>& list) {
    ordered_json out = ordered_json::array();
    for (const Vector2d& p : list) out.push_back({rounded(p.x()), rounded(p.y())});
    return out;
  };
  ordered_json plan = {{"name", name}, {"units", "mm"}};
  plan["profile"] = points(form.drawing(181));
  plan["tile_thickness"] = o.thickness_mm;
  plan["bevel_deg"] = layout.bevel_deg;
  plan["smallest_fill"] = o.smallest_fill_mm;
  plan["planned_gap"] = o.planned_gap_mm;
  plan["tiles"] = ordered_json::array();
  for (const PlannedPiece& p : layout.pieces) {
    plan["tiles"].push_back({{"label", p.label}, {"ring", p.ring}, {"outline", points(p.footprint)}});
  }
  return plan.dump() + "\n";
}

}  // namespace interstice::renderer
