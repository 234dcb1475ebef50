// Inside the camera stage only: what a picture would take to decode, told from the very data that are
// decoded.
#pragma once

#include "camera/photo_file.h"

namespace interstice::camera {

// Passes over the picture that a JPEG asks for, up to its end mark; 1 when it is not progressive.
int jpeg_scans(const std::string& bytes);

// Size in the first directory, which is the one decoded. Throws PhotoError.
PhotoSize tiff_size(const PhotoBytes& photo);

// Size as its decoder reads it. Throws PhotoError.
PhotoSize webp_size(const PhotoBytes& photo);

// The largest picture, in pixels, that any HEVC data of a HEIC file decode to, as their own headers
// (H.265, 7.3.2.2) say; 0 where there is none to be found.
double hevc_pixels(const std::string& bytes);

// A TIFF whose orientation tag is set to 1: its decoder turns the picture whatever it is told.
std::string tiff_without_orientation(const PhotoBytes& photo);

}  // namespace interstice::camera
