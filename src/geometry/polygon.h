// Plane polygons (closed, the last point joins the first) and distances to polylines; unit-free.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <utility>
#include <vector>

namespace interstice::geometry {

using Polygon = std::vector<Eigen::Vector2d>;

double signed_area(const Polygon& polygon);        // positive: counter-clockwise
Eigen::Vector2d centroid(const Polygon& polygon);  // of the area
double perimeter(const Polygon& polygon);
bool contains(const Polygon& polygon, const Eigen::Vector2d& p);  // even-odd; the boundary may go either way

// The first pair of edges that cross or touch without being neighbours, by their start indices.
std::optional<std::pair<std::size_t, std::size_t>> self_crossing(const Polygon& polygon);

// Outward unit normal at every vertex (mean of its two edges' normals) of a counter-clockwise polygon.
std::vector<Eigen::Vector2d> outward_normals(const Polygon& polygon);

// Every point moved outward by distance along its vertex normal, corners kept by the mitre rule with the
// mitre limited to twice the distance. Meant for small growth of smooth outlines: no clean-up of crossings.
Polygon grown(const Polygon& polygon, double distance);

// Points at equal steps of at most `step` along the outline, starting at its first vertex.
Polygon resampled(const Polygon& polygon, double step);

// Nearest point of a segment and of a closed polyline, in 3-D.
struct NearestOnPolyline {
  Eigen::Vector3d point;
  double distance;
  std::size_t segment;  // index of the segment's first vertex
  double t;             // 0..1 along the segment
};
NearestOnPolyline nearest_on_closed(const std::vector<Eigen::Vector3d>& polyline, const Eigen::Vector3d& p);

}  // namespace interstice::geometry
