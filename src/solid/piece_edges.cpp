#include "solid/piece_edges.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "geometry/cyclic_runs.h"
#include "geometry/form_surface.h"
#include "geometry/region.h"

namespace interstice::solid {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kReach_mm = 14;        // a neighbour farther away is none
constexpr double kShortestEdge_mm = 4;  // shorter stretches belong to the edges beside them
constexpr double kDegrees = 180 / std::numbers::pi;
constexpr int kOpen = -1, kRim = -2;

// For every arris point the piece it faces.
std::vector<int> facing(const plan::Plan& plan, const std::vector<PieceBody>& bodies, std::size_t i) {
  const PieceBody& body = bodies[i];
  const std::size_t n = body.arris.size();
  std::vector<int> faces(n, kOpen);
  std::vector<double> nearest(n, kReach_mm);
  const std::vector<Vector2d> normals = geometry::outward_normals(body.face.outline);
  const double rim = plan.profile.length();
  for (std::size_t k = 0; k < n; ++k) {
    const Vector3d out = (normals[k].x() * body.face.frame.ex + normals[k].y() * body.face.frame.ey);
    const Vector3d foot = body.root[k];
    const double to_rim =
        std::min(rim - plan.profile.locate(foot).uv.norm(), std::max(0.0, body.arris[k].z()));
    if (to_rim < 0.5 * kReach_mm &&
        out.z() < -0.3 * std::hypot(body.face.frame.ex.z(), body.face.frame.ey.z())) {
      faces[k] = kRim, nearest[k] = std::max(0.0, to_rim);
    }
  }
  for (std::size_t j = 0; j < bodies.size(); ++j) {
    if (j == i || (bodies[j].middle - body.middle).norm() > bodies[j].radius_mm + body.radius_mm + kReach_mm)
      continue;
    for (std::size_t k = 0; k < n; ++k) {
      const Vector3d out = normals[k].x() * body.face.frame.ex + normals[k].y() * body.face.frame.ey;
      const geometry::NearestOnPolyline near = geometry::nearest_on_closed(bodies[j].arris, body.arris[k]);
      if (near.distance < nearest[k] && (near.point - body.arris[k]).dot(out) > 0.3 * near.distance) {
        nearest[k] = near.distance, faces[k] = static_cast<int>(j);
      }
    }
  }
  return faces;
}

std::vector<PieceEdge> edges_of(const std::vector<int>& faces, double step) {
  const std::size_t n = faces.size();
  using Run = geometry::CyclicRun<int>;
  std::vector<Run> runs = geometry::cyclic_runs(faces);
  while (runs.size() > 2) {
    const auto least = std::min_element(runs.begin(), runs.end(),
                                        [](const Run& a, const Run& b) { return a.count < b.count; });
    if (static_cast<double>(least->count) * step >= kShortestEdge_mm) break;
    const auto i = static_cast<std::size_t>(least - runs.begin());
    Run& left = runs[(i + runs.size() - 1) % runs.size()];
    Run& right = runs[(i + 1) % runs.size()];
    const std::size_t half = runs[i].count / 2, rest = runs[i].count - half;
    left.count += half;
    right.first = (right.first + n - rest) % n;
    right.count += rest;
    runs.erase(least);
    for (std::size_t k = 0; runs.size() > 1 && k < runs.size();
         ++k) {  // one edge again, if both sides were the same
      Run& a = runs[k];
      Run& b = runs[(k + 1) % runs.size()];
      if (a.value != b.value) continue;
      a.count += b.count;
      runs.erase(runs.begin() + static_cast<std::ptrdiff_t>((k + 1) % runs.size()));
      break;
    }
  }
  std::vector<PieceEdge> edges;
  for (const Run& r : runs) {
    PieceEdge edge;
    edge.faces = r.value >= 0 ? EdgeFaces::piece : r.value == kRim ? EdgeFaces::rim : EdgeFaces::open;
    if (r.value >= 0) edge.neighbour = geometry::TileIndex(static_cast<std::size_t>(r.value));
    edge.first = r.first, edge.count = r.count, edge.length_mm = static_cast<double>(r.count) * step;
    edges.push_back(edge);
  }
  return edges;
}

void set_bevel(PieceEdge& edge, const std::vector<PieceBody>& bodies, std::size_t i, double plan_bevel_deg) {
  const PieceBody& body = bodies[i];
  const geometry::PlaneFrame& frame = body.face.frame;
  if (edge.faces == EdgeFaces::open) {
    edge.bevel_deg = plan_bevel_deg;
  } else if (edge.faces == EdgeFaces::rim) {
    edge.bevel_deg = std::asin(std::clamp(frame.normal.z(), -1.0, 1.0)) * kDegrees;
  } else {
    const std::size_t n = body.arris.size();
    const Vector2d d = body.face.outline[(edge.first + edge.count - 1) % n] - body.face.outline[edge.first];
    const Vector3d out = d.y() * frame.ex - d.x() * frame.ey;
    edge.bevel_deg = even_bevel_deg(frame.normal, bodies[edge.neighbour.value].face.frame.normal, out);
  }
}

double inscribed_diameter(const geometry::Polygon& outline) {
  double low = 0, high = std::sqrt(std::max(0.0, geometry::signed_area(outline)));
  for (int k = 0; k < 14; ++k) {
    const double middle = (low + high) / 2;
    (geometry::offset_round({outline}, -middle).empty() ? high : low) = middle;
  }
  return 2 * low;
}

// The flat back against the form: positive where the form lies below the back.
double rocking_gap(const plan::Plan& plan, const PieceBody& body) {
  const geometry::PlaneFrame& frame = body.face.frame;
  double largest = 0;
  for (const Vector3d& back : body.root) {
    for (const double share : {0.5, 1.0}) {  // half way out and at the edge
      const Vector3d centre = frame.origin - plan.tile_thickness_mm * frame.normal;
      const geometry::MapPoint place = plan.profile.locate(centre + share * (back - centre));
      if (std::abs(place.height) > std::abs(largest)) largest = place.height;
    }
  }
  return largest;
}

}  // namespace

std::vector<PieceGeometry> piece_geometries(const plan::Plan& plan, const std::vector<PieceBody>& bodies) {
  std::vector<PieceGeometry> pieces;
  for (std::size_t i = 0; i < bodies.size(); ++i) {
    const PieceBody& body = bodies[i];
    PieceGeometry piece;
    const double step = geometry::perimeter(body.face.outline) / static_cast<double>(body.arris.size());
    piece.edges = edges_of(facing(plan, bodies, i), step);
    double steepest = 0;
    bool any = false;
    for (PieceEdge& edge : piece.edges) {
      set_bevel(edge, bodies, i, plan.bevel_deg);
      if (edge.faces == EdgeFaces::piece)
        steepest = any ? std::max(steepest, edge.bevel_deg) : edge.bevel_deg, any = true;
    }
    piece.recommended_bevel_deg = any ? std::ceil(steepest - 0.05) : std::round(plan.bevel_deg);
    piece.face_area_mm2 = geometry::signed_area(body.face.outline);
    piece.drawn_area_mm2 = geometry::surface_area(plan.profile, plan.tiles[geometry::TileIndex(i)].outline);
    piece.enlargement_percent = 100 * (std::sqrt(piece.face_area_mm2 / piece.drawn_area_mm2) - 1);
    piece.rocking_gap_mm = rocking_gap(plan, body);
    piece.inscribed_mm = inscribed_diameter(body.face.outline);
    pieces.push_back(std::move(piece));
  }
  return pieces;
}

}  // namespace interstice::solid
