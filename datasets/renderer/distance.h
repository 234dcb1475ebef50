// Exact bodies of built pieces and the shortest distances between them; mm, any one frame.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "renderer/form.h"
#include "renderer/outline.h"

namespace interstice::renderer {

// One level of a piece at a point of its outline: drawn in by inset_mm, depth_mm below the frame's plane z = 0.
struct Level {
  double depth_mm = 0;
  double inset_mm = 0;
};
using LevelRing = std::vector<Level>;  // all round: one a point of the outline

// On straight lines from the one level to the other, the part t of the way.
LevelRing between(const LevelRing& a, const LevelRing& b, double t);

using Ring = std::vector<Eigen::Vector3d>;

// The level's points, in the frame that the outline lies in.
Ring ring_points(const Outline& outline, const LevelRing& level);

// A solid between levels: its top, walls ruled from level to level, a flat bottom.
class Body {
 public:
  // `widest` is the index of the level that carries the arris. `face`: rings that the top runs over from its edge to
  // its middle, which is the last one's mean; none: flat to the edge's centroid.
  Body(const Frame& frame, const Outline& outline, const std::vector<LevelRing>& levels, std::size_t widest,
       const std::vector<Ring>& face = {});

  const Ring& arris() const { return rings_[widest_]; }
  const Ring& root() const { return rings_.back(); }
  const std::vector<Ring>& rings() const { return rings_; }  // without the face's
  const Eigen::Vector3d& centre() const { return centre_; }
  double radius_mm() const { return radius_; }
  bool contains(const Eigen::Vector3d& p) const;

  struct Triangle {
    std::array<Eigen::Vector3d, 3> corner;
    Eigen::Vector3d centre;
    double radius;
  };
  const std::vector<Triangle>& triangles() const { return triangles_; }

  // Balls round each kGroup triangles in a row, to pass over the far ones.
  static constexpr std::size_t kGroup = 16;
  struct Ball {
    Eigen::Vector3d centre;
    double radius;
  };
  const std::vector<Ball>& groups() const { return groups_; }

 private:
  void add_band(const Ring& upper, const Ring& lower);
  void add_triangle(const Eigen::Vector3d& a, const Eigen::Vector3d& b, const Eigen::Vector3d& c);
  void add_groups();

  Frame frame_;
  Outline outline_;
  std::size_t widest_;
  std::vector<Ring> rings_;
  std::vector<Triangle> triangles_;
  std::vector<Ball> groups_;
  Eigen::Vector3d centre_;
  double radius_ = 0;
  double lowest_ = 0, highest_ = 0;  // z in the frame
  bool narrows_ = true;              // no level is wider than the outline
};

struct Shortest {
  double mm = 1e9;
  Eigen::Vector3d from = Eigen::Vector3d::Zero(), to = Eigen::Vector3d::Zero();
};

Eigen::Vector3d nearest_on_triangle(const Eigen::Vector3d& p, const Eigen::Vector3d& a,
                                    const Eigen::Vector3d& b, const Eigen::Vector3d& c);
Eigen::Vector3d nearest_on_segment(const Eigen::Vector3d& p, const Eigen::Vector3d& a,
                                   const Eigen::Vector3d& b);

// Points along a closed curve, no more than `step` apart, its corners among them.
std::vector<Eigen::Vector3d> dense(const std::vector<Eigen::Vector3d>& curve, double step);

// Shortest distance from a closed curve to a body's surface; 0 where the curve enters it. Distances beyond
// `reach` are not looked at (mm stays 1e9).
Shortest curve_to_body(const std::vector<Eigen::Vector3d>& curve, const Body& body, double reach);

// Shortest distance from a point to a closed curve.
double point_to_curve(const Eigen::Vector3d& p, const std::vector<Eigen::Vector3d>& curve);

}  // namespace interstice::renderer
