// Lens calibration from views of flat targets: lens and target poses by least squares on the corners' pixels.
//
// Unknowns: fx fy cx cy k1 k2 p1 p2 k3 (lens.h) and six numbers of pose a view. Corners are weighted by their
// own uncertainty when given. Wrong corners and views are found with a robust loss and then left out
// altogether, so the result is a plain least-squares estimate with a plain covariance: the inverse of the
// normal matrix, scaled by the residuals found. Whether the views determine the lens is read off that
// covariance. Frames: object points in the target's plane, z = 0, mm; the print scale does not touch the
// lens.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "camera/lens.h"

namespace interstice::camera {

// One flat target in one photo.
struct CalibrationView {
  std::string photo;
  std::vector<Eigen::Vector2d> object_mm;
  std::vector<Eigen::Vector2d> pixel;
  std::vector<double> sd_px;  // empty: all alike
};

struct CalibrationOptions {
  bool one_focal = false;  // fx = fy
  bool leave_out = true;   // wrong corners and views; false: everything counts
  int fewest_photos = 5;   // with a usable view
  int fewest_corners = 8;  // for a view to be usable: six unknowns, so 16 numbers leave ten to check it with
  double focal_sd_limit = 0.005;      // of the focal length: worse is "not determined"
  double principal_sd_limit = 0.005;  // of the picture's diagonal
};

struct CalibratedView {
  Eigen::Vector3d rotation{0, 0, 0},
      translation_mm{0, 0, 0};  // camera from target; rotation as axis times angle
  int corners_used = 0, corners_left_out = 0;
  double rms_px = 0;
  bool used = false;
  std::string reason;  // why not used: "its corners do not fit ..."; empty when used
};

struct Calibration {
  Lens lens;                          // with standard deviations, rms, coverage, photos_used
  std::vector<CalibratedView> views;  // in step with the views given
  int corners_used = 0;
  int held_at_zero = 0;     // distortion terms the views could not tell: 0 none, 1 k3, 2 k3 and k2
  double corner_sd_px = 0;  // standard uncertainty of the distortion in the frame's corners
};

// Throws MeasureError with one line saying what to photograph when fewer than fewest_photos photos have
// usable views or when the views do not determine the lens. Deterministic.
Calibration calibrate(int width, int height, double start_focal_px, const std::vector<CalibrationView>& views,
                      const CalibrationOptions& options = {});

// Share of a frame that lies inside the corner sets (each taken with its convex hull), 0 to 1.
double frame_coverage(int width, int height, const std::vector<CalibrationView>& views);

}  // namespace interstice::camera
