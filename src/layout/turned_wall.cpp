#include "layout/turned_wall.h"

#include <algorithm>
#include <limits>

#include "geometry/polygon.h"

namespace interstice::layout {
namespace {

struct Heights {
  double low_mm = std::numeric_limits<double>::infinity(), high_mm = -low_mm;
  void add(double mm) { low_mm = std::min(low_mm, mm), high_mm = std::max(high_mm, mm); }
};

// Above the form, of an outline and of the plane inside it.
Heights heights_of(const geometry::Profile& form, const geometry::PlaneFrame& frame,
                   const geometry::Polygon& outline, double below_mm) {
  constexpr double kApart_mm = 2.0;  // a plane's height over a form of radius r errs by step^2 / 8 r between
  Heights out;
  const auto add = [&](const Eigen::Vector2d& p) {
    out.add(form.locate(frame.lift(p) - below_mm * frame.normal).height);
  };
  Eigen::Vector2d low = outline.front(), high = low;
  for (const Eigen::Vector2d& p : outline) {
    add(p);
    low = low.cwiseMin(p), high = high.cwiseMax(p);
  }
  for (double y = low.y(); y <= high.y(); y += kApart_mm) {
    for (double x = low.x(); x <= high.x(); x += kApart_mm) {
      if (geometry::contains(outline, {x, y})) add({x, y});
    }
  }
  return out;
}

geometry::Polygon back_of(const solid::PieceBody& body) {
  geometry::Polygon out;
  for (const Eigen::Vector3d& p : body.root) out.push_back(body.face.frame.drop(p));
  return out;
}

}  // namespace

TurnedWall turned_wall(const plan::Plan& plan, const std::vector<solid::PieceBody>& bodies) {
  TurnedWall out;
  if (bodies.empty()) return out;
  Heights faces;
  double highest_back = 0;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    const solid::PieceBody& body = bodies[i];
    const Heights face = heights_of(plan.profile, body.face.frame, body.face.outline, 0);
    faces.add(face.low_mm), faces.add(face.high_mm);
    if (plan.back != plan::Back::flat) continue;
    const Heights back = heights_of(plan.profile, body.face.frame, back_of(body), plan.tile_thickness_mm);
    out.inside_loss_mm = std::max(out.inside_loss_mm, back.high_mm - std::min(0.0, back.low_mm));
    if (back.high_mm > highest_back) highest_back = back.high_mm, out.most_inside = geometry::TileIndex(i);
  }
  out.outside_loss_mm = faces.high_mm - faces.low_mm;
  out.wall_mm = faces.low_mm - highest_back;
  return out;
}

}  // namespace interstice::layout
