// Inside the camera stage: the least-squares problem behind calibrate().
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "camera/calibration.h"

namespace interstice::camera {

struct CalibrationState {
  LensVector lens;
  std::vector<std::array<double, 6>> pose;    // axis times angle, translation in mm
  std::vector<std::vector<bool>> use_corner;  // by view and corner; a view without any is left out
};

struct SolverSettings {
  bool one_focal = false;
  int held_at_zero = 0;     // 0 none, 1 k3, 2 k3 and k2
  double robust_scale = 0;  // of weighted residuals; 0: plain least squares
};

// Poses of flat views for a lens: the better of the two a plane allows. Views that have no pose lose all
// corners.
void start_poses(const std::vector<CalibrationView>& views, CalibrationState& state);

// Improves lens and poses. Returns the final cost (half the sum of squares, weighted).
double solve_calibration(const std::vector<CalibrationView>& views, const SolverSettings& settings,
                         CalibrationState& state);

// Residuals in pixels, by view and corner, also of corners not in use.
std::vector<std::vector<Eigen::Vector2d>> calibration_residuals(const std::vector<CalibrationView>& views,
                                                                const CalibrationState& state);

// Standard uncertainty by which a corner is weighted: its own and a floor for what all corners share.
double corner_weight_sd(const CalibrationView& view, std::size_t corner);

// Covariance of the lens with the poses free, for weighted residuals of unit variance; rows of held
// parameters are zero. False when the views leave a parameter open.
bool lens_covariance(const std::vector<CalibrationView>& views, const SolverSettings& settings,
                     const CalibrationState& state, LensMatrix& covariance);

}  // namespace interstice::camera
