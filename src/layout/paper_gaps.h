// Gaps between papers on the form: which place faces which, and how a small move changes it.
#pragma once

#include <vector>

#include "layout/paper_pose.h"

namespace interstice::layout {

struct PaperShape {
  geometry::Polygon outline;  // coarse, about its middle
  double mean_square = 0;     // see mean_square_radius()
  double radius = 0;          // farthest point
  bool lowest = false;        // stands on the rim
};

struct LaidShape {
  PaperPose pose;
  Eigen::Vector3d normal, up;            // of the form at the middle; the paper's y
  std::vector<Eigen::Vector3d> points;   // of the outline
  std::vector<Eigen::Vector3d> outward;  // at them, unit, along the form
};

LaidShape laid_shape(const geometry::Profile& form, const PaperShape& shape, const PaperPose& pose,
                     double step_mm);

// One place of a paper's edge and what it faces.
struct Gap {
  std::size_t paper = 0, point = 0;
  int beyond = -1;                                        // the paper it faces; -1: the rim
  double width = 0;                                       // negative: overlapping
  Eigen::Vector3d by_paper{0, 0, 0}, by_beyond{0, 0, 0};  // derivatives by (x, y, turn)
};

// All gaps of papers `from` to the end; those before are faced but do not face.
std::vector<Gap> find_gaps(const geometry::Profile& form, const std::vector<PaperShape>& shapes,
                           const std::vector<LaidShape>& laid, std::size_t from, double most_mm);

}  // namespace interstice::layout
