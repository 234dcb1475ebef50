// From measured pieces to seams with verdicts (core/verdict.h).
//
// Uncertainty of a seam's narrowest width: the two edges across the seam, their planes, the photos' positions
// and the scale, combined as independent contributions (GUM, JCGM 100:2008, 5.1.2).
#pragma once

#include "edges/photo_errors.h"
#include "edges/wall_slope.h"
#include "geometry/index.h"
#include "geometry/profile.h"
#include "plan/plan.h"
#include "seams/fit_document.h"
#include "solid/mouth.h"

namespace interstice::seams {

// Of an edge nobody saw, at least: it may be unseen because the outline went astray there.
constexpr double kUnseenSd_mm = 0.5;

struct MeasuredTile {
  solid::PieceSolid solid;    // empty outline: not placed
  std::vector<double> sd_mm;  // of each arris point across the outline; negative: not seen
  // Of each point, mm2: variance of its height over the face's plane, and covariance with its place across
  // the outline; empty: none.
  std::vector<double> height_variance, height_covariance;
  // Of each point: the half-width of an error that all edges of all pieces share; empty: none.
  std::vector<double> shared_error_mm;
  std::vector<Eigen::VectorXd>
      shares;  // of the photos in each point (edges/photo_errors.h); empty: not known
  std::vector<edges::WallSlope> walls;  // of the wall below each point; empty: as planned
  double face_above_mm = 0;             // the outer face over the plane of the arris
};

struct SeamOptions {
  double smallest_fill_mm = 3.0;
  std::optional<plan::FinishedWall> finished_wall;  // empty: the whole thickness is kept
  double scale_sd = 0;                              // relative
  edges::PhotoErrors photos;
  int threads = 0;
};

std::vector<FitSeam> measure_seams(const geometry::IndexedVector<geometry::TileIndex, MeasuredTile>& tiles,
                                   const std::vector<std::string>& labels, const geometry::Profile& form,
                                   const SeamOptions& options);

}  // namespace interstice::seams
