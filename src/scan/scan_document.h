// A scan as files: cameras.json (what other programs may read) and scan.json (what the fit stage needs
// besides).
//
// cameras.json: { "photos": [ { "name", "rotation": 3x3 rows, "translation": mm, "fx" .. "p2" } ] },
// p_camera = rotation * p_bowl + translation, sensor orientation, distortion in OpenCV's sense.
// scan.json: { "format": "interstice-scan", "version": 1, "photos": [ { "name", "file": absolute path,
// "width", "height", "covariance": 28 numbers (lower triangle, rows) } ], "left_out": [..], "quality": {..},
// "points": [[x, y, z], ..] }.
// Numbers are written with 17 digits, so reading gives the same values.
#pragma once

#include <filesystem>

#include "scan/scan.h"

namespace interstice::scan {

std::string write_cameras(const Scan& scan);
std::string write_scan(const Scan& scan);

// Where a scan's photos are now.
struct PhotoPlace {
  std::filesystem::path folder;  // look here first, by file name; empty: where they were
  bool may_be_gone = false;      // a photo that cannot be read keeps its pose and size, and its path is empty
};

// Reads both files of a scan folder. Throws InputError naming file, place and fault, also when a photo the
// scan needs is gone.
Scan read_scan(const std::filesystem::path& folder, const PhotoPlace& place = {});

}  // namespace interstice::scan
