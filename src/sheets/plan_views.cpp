#include "sheets/plan_views.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace interstice::sheets {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr Ink kWood{0.93, 0.87, 0.77};
constexpr Ink kForm{0.97, 0.97, 0.97};

// Rings take turns in tone, so that courses can be told apart without colour names.
Ink ring_tone(int ring) {
  const double f = ring % 2 == 0 ? 0.92 : 1.0;
  return {kWood.red * f, kWood.green * f, kWood.blue * f};
}

void add_face(Drawing& d, std::vector<Vector2d> points, const Ink& fill) {
  DrawnPath path;
  path.points = std::move(points);
  path.closed = path.filled = true;
  path.fill = fill;
  path.width_mm = 0.25;
  d.paths.push_back(path);
}

void shift(Drawing& from, Drawing& onto, const Vector2d& by) {
  for (DrawnPath& path : from.paths) {
    for (Vector2d& p : path.points) p += by;
    onto.paths.push_back(path);
  }
  for (DrawnText& text : from.texts) {
    text.at += by;
    onto.texts.push_back(text);
  }
}

}  // namespace

Drawing draw_map(const plan::Plan& plan) {
  double reach = plan.profile.length();
  for (const plan::PlannedTile& tile : plan.tiles) {
    for (const Vector2d& p : tile.outline) reach = std::max(reach, p.norm());
  }
  const double margin = 12, half = reach + margin;
  Drawing d;
  d.width_mm = 2 * half, d.height_mm = 2 * half + 10;
  const auto on_sheet = [&](const Vector2d& uv) { return Vector2d(half + uv.x(), half - uv.y()); };
  const auto circle = [&](double rho, bool dashed) {
    DrawnPath path;
    for (int i = 0; i < 240; ++i) {
      const double t = 2 * std::numbers::pi * i / 240;
      path.points.push_back(on_sheet(rho * Vector2d(std::cos(t), std::sin(t))));
    }
    path.closed = true, path.dashed = dashed, path.ink = dashed ? kGrey : kBlack,
    path.width_mm = dashed ? 0.12 : 0.3;
    d.paths.push_back(path);
  };
  for (const plan::PlannedTile& tile : plan.tiles) {
    std::vector<Vector2d> points;
    for (const Vector2d& p : tile.outline) points.push_back(on_sheet(p));
    add_face(d, std::move(points), ring_tone(tile.ring));
    d.write(on_sheet(geometry::centroid(tile.outline)), tile.label, 4, Anchor::middle, 0, true);
  }
  circle(plan.profile.length(), false);
  for (double rho = 50; rho < plan.profile.length() - 5; rho += 50) circle(rho, true);
  d.line(on_sheet({plan.profile.length(), 0}), on_sheet({plan.profile.length() + 6, 0}), 0.3);
  d.write(on_sheet({plan.profile.length() + 6.5, -1}), "0°", 2.5);
  d.write({margin, d.height_mm - 5},
          plan.name +
              ": map of the form seen from above the foot. Distances from the pole are true, those along "
              "rings are not.",
          2.6);
  return d;
}

Drawing draw_elevation(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies,
                       double azimuth_deg) {
  const double a = azimuth_deg * std::numbers::pi / 180;
  const Vector3d to_eye(std::cos(a), std::sin(a), 0), right(-std::sin(a), std::cos(a), 0);
  double r_max = 0, z_max = 0;
  for (const Vector2d& rz : plan.profile.points())
    r_max = std::max(r_max, rz.x()), z_max = std::max(z_max, rz.y());
  r_max += plan.tile_thickness_mm, z_max += plan.tile_thickness_mm;
  const double margin = 8;
  Drawing d;
  d.width_mm = 2 * (r_max + margin), d.height_mm = z_max + 2 * margin + 8;
  const auto on_sheet = [&](const Vector3d& p) {
    return Vector2d(d.width_mm / 2 + p.dot(right), margin + z_max - p.z());
  };
  DrawnPath form;
  for (const double side : {1.0, -1.0}) {
    std::vector<Vector2d> half;
    for (const Vector2d& rz : plan.profile.points())
      half.push_back(on_sheet(side * rz.x() * right + Vector3d(0, 0, rz.y())));
    if (side > 0) std::reverse(half.begin(), half.end());
    form.points.insert(form.points.end(), half.begin(), half.end());
  }
  form.closed = form.filled = true, form.fill = kForm, form.ink = kGrey;
  d.paths.push_back(form);
  std::vector<std::pair<double, std::size_t>> order;  // far ones first
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    if (bodies[i].face.frame.normal.dot(to_eye) > 0.02) order.emplace_back(bodies[i].middle.dot(to_eye), i);
  }
  std::sort(order.begin(), order.end());
  for (const auto& [depth, i] : order) {
    std::vector<Vector2d> points;
    for (const Vector3d& p : bodies[i].arris) points.push_back(on_sheet(p));
    const plan::PlannedTile& tile = plan.tiles[geometry::TileIndex(i)];
    add_face(d, std::move(points), ring_tone(tile.ring));
    const double facing = bodies[i].face.frame.normal.dot(to_eye);
    if (facing > 0.35)
      d.write(on_sheet(bodies[i].face.frame.origin), tile.label, 3.2, Anchor::middle, 0, true);
  }
  const Vector3d rim(0, 0, 0);
  d.line(on_sheet(rim - (r_max + 4) * right), on_sheet(rim + (r_max + 4) * right), 0.3);
  d.write({d.width_mm / 2, d.height_mm - 4}, fmt::format("seen from {:.0f}°", azimuth_deg), 3,
          Anchor::middle);
  return d;
}

Drawing draw_elevations(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies) {
  Drawing sheet;
  for (int k = 0; k < 4; ++k) {
    Drawing one = draw_elevation(plan, bodies, 90.0 * k);
    sheet.width_mm = 2 * one.width_mm, sheet.height_mm = 2 * one.height_mm + 10;
    shift(one, sheet, {k % 2 == 0 ? 0 : one.width_mm, k < 2 ? 0 : one.height_mm});
  }
  sheet.write({8, sheet.height_mm - 4}, plan.name + ": four elevations, faces as planned", 3);
  return sheet;
}

}  // namespace interstice::sheets
