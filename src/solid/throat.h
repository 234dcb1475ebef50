// How far two pieces stand apart behind the mouth: throats, and the part of a piece that the finished wall keeps.
//
// Model: bodies as in mouth.h, walls ruled by straight lines from arris to root. The throat of a seam is the
// shortest 3-D distance between the two walls at any depth; the throat at a place of the seam is the narrowest
// distance, at any depth, between the wall lines below that place and the other body. Negative where walls
// overlap. Units and frame as in mouth.h.
#pragma once

#include <optional>
#include <vector>

#include "plan/plan.h"
#include "solid/mouth.h"

namespace interstice::solid {

// A distance between two bodies, with the places under which its ends lie: outline segment and 0..1 along it.
struct Throat {
  double width_mm = 0;
  Eigen::Vector3d on_a, on_b;
  std::size_t segment_a = 0, segment_b = 0;
  double t_a = 0, t_b = 0;
};

// The narrowest of the whole seam, never more than the mouth; empty beyond the options' limit.
std::optional<Throat> throat_of(const SolidBody& a, const SolidBody& b, const MouthOptions& options = {});

// The throat at every place of a seam; empty where the walls stand farther apart than the limit. The bodies
// may be parts of those the mouths were measured on (kept_part), point for point.
std::vector<std::optional<Throat>> throats_along(const SolidBody& a, const SolidBody& b,
                                                 const std::vector<MouthSample>& mouths,
                                                 const MouthOptions& options = {});

// The same at the feet of the walls alone.
std::vector<std::optional<Throat>> feet_along(const SolidBody& a, const SolidBody& b,
                                              const std::vector<MouthSample>& mouths,
                                              const MouthOptions& options = {});

// The distance at one depth, 0 (arris) to 1 (root), below one place of a seam given by a point near each arris:
// the smaller of both directions; empty beyond the limit.
std::optional<double> width_at_depth(const SolidBody& a, const SolidBody& b, const Eigen::Vector3d& near_a,
                                     const Eigen::Vector3d& near_b, double depth, double limit_mm);

// The piece as turning leaves it: the walls between two depths below the outer face, which lies
// `face_above_mm` over the plane of the arris. Point for point; walls that end above the first depth have no
// height left.
PieceSolid kept_part(const PieceSolid& piece, double face_above_mm, const plan::FinishedWall& wall);

}  // namespace interstice::solid
