// How far a cloud lies from the true faces of a rendered scan.
#pragma once

#include <Eigen/Geometry>
#include <filesystem>
#include <vector>

#include "scan/scan.h"

namespace interstice::baseline {

struct SurfaceError {
  std::size_t points = 0;    // over faces
  double face_area_cm2 = 0;  // of all true faces
  double covered = 0;        // share of the faces' area with a point within a millimetre
  double median_mm = 0;      // of the distances' sizes
  double rms_mm = 0, bias_mm = 0;
  double within_third = 0;  // share of the points within 0.3 mm
  double density_per_cm2() const { return static_cast<double>(points) / face_area_cm2; }
};

// The true faces of truth.json: the plane of the widest outline, raised by the broken arris.
struct TrueFace {
  Eigen::Vector3d origin, ex, ey, normal;
  std::vector<Eigen::Vector2d> outline;  // drawn in by a millimetre, so that walls and round do not count
};

struct Truth {
  std::vector<TrueFace> faces;
  Eigen::Isometry3d truth_T_bowl;  // rigid, by the photos' positions
};

Truth read_truth(const std::filesystem::path& path, const scan::Scan& scan);

// Points further than `reach_mm` along a face's normal belong to something else.
SurfaceError error_of(const std::vector<Eigen::Vector3d>& cloud, const Truth& truth, double reach_mm);

}  // namespace interstice::baseline
