// Tie points: the same spot of wood found in several photos, once the photos' poses are known from the cards.
//
// Two passes. Without a form: neighbouring photos are matched by descriptor and checked against the epipolar
// line; enough to find where the form stands. With a form: every feature is carried along its ray to the form
// (bare, or at the faces' height), and only features that meet within a few millimetres are compared;
// repeating grain then does little harm. Frame `bench`, mm. Deterministic.
#pragma once

#include <Eigen/Geometry>
#include <functional>
#include <vector>

#include "geometry/profile.h"
#include "scan/bundle.h"
#include "scan/features.h"

namespace interstice::scan {

struct TiePhoto {
  camera::Lens lens;
  Eigen::Isometry3d camera_T_bench;
  Features features;
};

// What one pair of photos has in common.
struct PairPoints {
  std::size_t first = 0, second = 0;  // first < second
  std::vector<Eigen::Vector3d> points;
};

// Points from matched neighbours, first pass (bench frame).
std::vector<PairPoints> match_neighbours(const std::vector<TiePhoto>& photos, int threads);

std::vector<Eigen::Vector3d> points_of(const std::vector<PairPoints>& pairs);

struct FormOnBench {
  geometry::Profile profile;
  double thickness_mm = 0;
  Eigen::Isometry3d bowl_T_bench;
};

struct Track {
  Eigen::Vector3d p_bench;
  std::vector<std::pair<std::size_t, std::size_t>> features;  // (photo, feature), one a photo, by photo
};

// Tracks over all photos, second pass.
std::vector<Track> match_on_form(const std::vector<TiePhoto>& photos, const FormOnBench& form, int threads);

// Least-squares intersection of rays (midpoint form); rays are unit vectors.
Eigen::Vector3d intersect_rays(const std::vector<Eigen::Vector3d>& origins,
                               const std::vector<Eigen::Vector3d>& rays);

// Where a ray first reaches the given height above the form, or NaN. Frames alike.
Eigen::Vector3d ray_to_height(const geometry::Profile& profile, const Eigen::Vector3d& origin,
                              const Eigen::Vector3d& ray, double height_mm);

}  // namespace interstice::scan
