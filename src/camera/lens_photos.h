// From photos of a printed card to a lens.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "camera/calibration.h"
#include "camera/photo.h"

namespace interstice::camera {

struct LensPhotos {
  Calibration calibration;  // calibration.lens carries the camera's name
  int photos_given = 0;
  struct LeftOut {
    std::string photo;  // file name
    std::string reason;
  };
  std::vector<LeftOut> left_out;           // photos without any usable card, in the order given
  double nearest_mm = 0, farthest_mm = 0;  // camera to card, at the print scale given
  double steepest_tilt_deg = 0;            // between line of sight and the card's normal
  int corners_given = 0;
  bool focal_from_exif = false;
};

// Files as given, folders replaced by their photos; each file once. Throws InputError for a missing path.
std::vector<std::filesystem::path> expand_photos(const std::vector<std::filesystem::path>& given);

// Every card of every photo counts as a flat target of its own. `print_scale`: measured over nominal check
// line; it touches distances only. Photos that cannot be read or show no card are left out and named. Throws
// InputError when no photo can be read or when sizes or cameras differ; MeasureError as calibrate does.
LensPhotos calibrate_from_photos(const std::vector<std::filesystem::path>& photos, double print_scale,
                                 int threads, const std::function<void(const std::string&)>& progress = {});

}  // namespace interstice::camera
