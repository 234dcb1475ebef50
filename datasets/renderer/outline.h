// Closed plane curves, counter-clockwise, without a repeated last point; mm.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <vector>

namespace interstice::renderer {

using Outline = std::vector<Eigen::Vector2d>;

// The half-plane normal . x <= offset; the normal need not be a unit vector.
struct HalfPlane {
  Eigen::Vector2d normal;
  double offset = 0;
};

// Convex polygon common to all half-planes and the square |x|, |y| <= extent; empty if there is none.
Outline common_polygon(const std::vector<HalfPlane>& planes, double extent);

// The convex polygon grown outward by radius: its edges moved out, its corners become arcs; points about
// `step` apart. This is the exact offset curve of a convex polygon.
Outline grown_convex(const Outline& polygon, double radius, double step);

double signed_area(const Outline& outline);
Eigen::Vector2d area_centroid(const Outline& outline);
double perimeter(const Outline& outline);

// Outward normals at the points: unit bisectors of the neighbouring edges' normals.
std::vector<Eigen::Vector2d> point_normals(const Outline& outline);

// Each point moved outward by `distance` along its normal (scaled so that edges move by exactly that).
Outline offset_points(const Outline& outline, double distance);
// The same with a distance for each point.
Outline offset_points(const Outline& outline, const std::vector<double>& distances);

// A smooth random wave along the outline, by point: wavelengths from the whole way round down, `most` of them; its
// standard deviation over many such waves is `amplitude`.
std::vector<double> wave_along(const Outline& outline, double amplitude, int most, std::uint64_t seed);

// The outline moved in and out by a smooth wave along its length: what a hand-held cut leaves.
Outline with_wavy_edge(const Outline& outline, double amplitude, std::uint64_t seed);

bool inside(const Outline& outline, const Eigen::Vector2d& p);

}  // namespace interstice::renderer
