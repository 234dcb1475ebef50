// A scan as files: cameras.json (what other programs may read) and scan.json (what the fit stage needs
// besides).
//
// cameras.json: { "photos": [ { "name", "rotation": 3x3 rows, "translation": mm, "fx" .. "p2" } ] },
// p_camera = rotation * p_bowl + translation, sensor orientation, distortion in OpenCV's sense.
// scan.json: { "format": "interstice-scan", "version": 1, "photos": [ { "name", "file": the file's name
// without its folder, "crc32": of its bytes, "width", "height", "covariance": 28 numbers (lower triangle,
// rows), "reduced": missing, or the number of the file's pixels on a side that were measured as one } ], "left_out": [..], "quality": {..}, "points": [[x, y, z], ..] }. What cannot be shown of a name
// stands as \\xNN. Sizes and lenses are in pixels of the photos' files. Numbers are written with 17 digits, so reading gives the same values.
#pragma once

#include <cstdint>
#include <filesystem>

#include "scan/scan.h"

namespace interstice::scan {

std::string write_cameras(const Scan& scan);
std::string write_scan(const Scan& scan);

// CRC-32 (ISO/IEC 13239) of a photo's file: a photo of the same name and size is not yet the same photo.
std::uint32_t photo_checksum(const std::string& bytes);

// Where a scan's photos are now, beside the scan's folder and "photos" in it or above it: there only files
// count, no links.
struct PhotoPlace {
  std::filesystem::path folder;      // look here first, by file name
  std::filesystem::path remembered;  // then here
  bool may_be_gone = false;  // a photo that is not found keeps its pose and size, and its path is empty
};

// Reads both files of a scan folder. Throws InputError naming file, place and fault, also when a photo the
// scan needs is gone.
Scan read_scan(const std::filesystem::path& folder, const PhotoPlace& place = {});

}  // namespace interstice::scan
