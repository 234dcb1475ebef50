// From a folder of photos to measured cameras round a form.
//
// Frame `bowl`: axis z, rim plane z = 0, foot up; after scan_photos() the turn about the axis is arbitrary
// (it is settled by the pattern of pieces, see surface/pattern_azimuth.h) and turned() sets it. Millimetres; pixels
// in sensor orientation. Scale comes from the printed cards and the measured check line. Errors: InputError
// for files, MeasureError when the photos cannot be measured.
#pragma once

#include <Eigen/Geometry>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "camera/lens.h"
#include "camera/photo.h"
#include "camera/photo_store.h"
#include "geometry/index.h"
#include "plan/plan.h"

namespace interstice::scan {

struct ScanOptions {
  std::optional<double> check_line_mm;  // as measured with calipers; nominal 150
  std::optional<camera::Lens> lens;     // from a lens file; otherwise the scan calibrates itself
  int threads = 0;
  std::function<void(const std::string&)> progress = [](const std::string&) {};
};

struct ScannedPhoto {
  camera::PhotoInfo info;
  camera::Lens lens;  // of this photo: focusing applied
  Eigen::Isometry3d camera_T_bowl;
  // Covariance of (rotation vector rad about the camera, translation mm, relative focal length) against the other
  // photos, see scan/bundle.h.
  Eigen::Matrix<double, 7, 7> covariance = Eigen::Matrix<double, 7, 7>::Zero();

  Eigen::Vector3d centre() const {
    return -(camera_T_bowl.linear().transpose() * camera_T_bowl.translation());
  }
  Eigen::Vector2d project(const Eigen::Vector3d& p_bowl) const {
    return lens.project(camera_T_bowl * p_bowl);
  }
  // What the errors of the covariance move a point by, in the camera's frame, mm; a longer focal length moves
  // it from the axis in its share.
  Eigen::Matrix<double, 3, 7> moved_by_errors(const Eigen::Vector3d& p_bowl) const {
    const Eigen::Vector3d p = camera_T_bowl * p_bowl;
    Eigen::Matrix<double, 3, 7> by;
    by << 0, p.z(), -p.y(), 1, 0, 0, p.x(),  //
        -p.z(), 0, p.x(), 0, 1, 0, p.y(),    //
        p.y(), -p.x(), 0, 0, 0, 1, 0;
    return by;
  }
};

struct LeftOut {
  std::string photo, reason;
};

struct ScanQuality {
  int photos_given = 0;
  double reprojection_rms_px = 0;  // corners of the cards
  double tie_rms_px = 0;
  std::size_t tie_points = 0;
  double pixel_footprint_mm = 0;  // on the form, median over the photos
  double scale_sd = 0;            // relative
  bool check_line_given = false;
  bool lens_given = false;
  std::string
      lens_note;  // what became of the lens file, in words; empty without one, and in scans read again
  std::string
      pixels_note;  // photos carried with fewer pixels than their files hold, in words; empty as above
  // Lengths between corners of each card not used for scale, against the card: largest error, and the longest
  // such length.
  std::optional<double> length_error_mm;
  double longest_length_mm = 0;
};

struct Scan {
  geometry::IndexedVector<geometry::PhotoIndex, ScannedPhoto> photos;
  std::vector<LeftOut> left_out;
  std::vector<Eigen::Vector3d> points;  // tie points on the pieces and the form, bowl frame
  ScanQuality quality;
  // Pictures the stages share; no part of what was measured. Never null.
  std::shared_ptr<camera::PhotoStore> store = std::make_shared<camera::PhotoStore>();
};

Scan scan_photos(const std::filesystem::path& folder, const plan::Plan& plan, const ScanOptions& options);

// With the bowl frame turned: the new x axis lies at `angle` (rad, counter-clockwise) in the old frame.
Scan turned(Scan scan, double angle);

}  // namespace interstice::scan
