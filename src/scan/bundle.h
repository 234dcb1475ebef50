// One adjustment over everything the photos were taken with and of: camera poses, the cards' poses on the
// bench, the lens of every camera, each photo's focusing, and tie points.
//
// Model: pixel = brown_project(lens with fx, fy scaled by the photo's focusing, camera_T_bench * p), moved by the
// photo's rows and the lens's residual (camera::Lens::shift) where they are free. Corners are known points of a card
// in frame `card` (mm, already at the print's true scale), flat or bent as `bend_per_mm` says; tie points are free.
// Frame `bench`: that of the first card; its pose is held (the gauge), scale comes from the cards' lengths. Noise: corners by their own sd, tie points by theirs, both robustified (Cauchy); every observation
// group may be rescaled by the caller from the residuals. The lens is tied to its start values by
// `lens_prior_sd`, each photo's focusing to 1 by `focus_prior_sd`: phones move the lens a little between
// shots. Errors: MeasureError when the adjustment does not converge to finite values. Source: the classical
// bundle adjustment with additional parameters (Brown's lens model); solved by Ceres.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <vector>

#include "camera/lens.h"
#include "geometry/index.h"

namespace interstice::scan {

using PointIndex = geometry::Index<struct PointTag>;
using LensIndex = geometry::Index<struct LensTag>;

struct CornerObservation {
  geometry::PhotoIndex photo;
  geometry::CardIndex card;
  Eigen::Vector3d p_card;  // mm
  int corner_id = 0;
  Eigen::Vector2d pixel;
  double sd_px = 0.1;
  double least_sd_px = 0;  // as it was read, before residuals asked for more
};

struct TieObservation {
  geometry::PhotoIndex photo;
  PointIndex point;
  Eigen::Vector2d pixel;
  double sd_px = 0.5;
};

struct Bundle {
  geometry::IndexedVector<geometry::PhotoIndex, Eigen::Isometry3d> camera_T_bench;
  geometry::IndexedVector<geometry::PhotoIndex, LensIndex> lens_of;
  geometry::IndexedVector<geometry::PhotoIndex, double> focus;  // factor on fx and fy
  geometry::IndexedVector<geometry::PhotoIndex, Eigen::Vector2d>
      row_shift_px;  // Lens::row_shift_px; empty: none
  geometry::IndexedVector<LensIndex, camera::Lens> lenses;
  geometry::IndexedVector<geometry::CardIndex, Eigen::Isometry3d> bench_T_card;
  // How paper bends: a point (x, y) of the card lies at z = (a x^2 + 2 b x y + c y^2) / 2; a, b, c in 1/mm. Empty: flat.
  geometry::IndexedVector<geometry::CardIndex, Eigen::Vector3d> bend_per_mm;
  geometry::IndexedVector<PointIndex, Eigen::Vector3d> points;  // bench frame, mm
  std::vector<CornerObservation> corners;
  std::vector<TieObservation> ties;
};

struct BundleOptions {
  camera::LensVector lens_prior_sd = camera::LensVector::Constant(1e3);  // fx fy cx cy k1 k2 p1 p2 k3
  std::vector<camera::LensVector>
      each_lens_prior_sd;            // in step with Bundle::lenses; empty: the one above for all
  double focus_prior_sd = 0;         // 0: focusing held at 1
  double row_shift_prior_sd_px = 0;  // 0: held at what it is
  double bend_prior_sd_per_mm = 0;   // 0: held at what it is
  double residual_prior_sd_px = 0;   // of Lens::residual's steps from knot to knot; 0: held at what it is
  bool free_lens = true;
  int threads = 0;
  int max_iterations = 60;
  double tolerance = 1e-9;  // stops when the cost changes by less than this share
};

struct BundleSummary {
  double corner_rms_px = 0, tie_rms_px = 0;  // of the distances between measured and computed pixels
  double corner_factor = 1;                  // robust size of corner residuals in units of their sd
  double tie_factor = 1;
};

BundleSummary adjust(Bundle& bundle, const BundleOptions& options);

// The lens of one photo, its focusing applied.
camera::Lens lens_of_photo(const Bundle& bundle, geometry::PhotoIndex photo);

// Observations that settle nothing any more are dropped: of points seen in fewer than two photos, of cards
// with fewer corners than a pose needs.
inline constexpr std::size_t kPoseCorners = 4;
void drop_lonely_points(Bundle& bundle);
void drop_unsettled_cards(Bundle& bundle);

// Residuals (measured minus computed), pixels.
Eigen::Vector2d residual(const Bundle& bundle, const CornerObservation& o);
Eigen::Vector2d residual(const Bundle& bundle, const TieObservation& o);

}  // namespace interstice::scan
