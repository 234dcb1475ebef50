// What a scanned picture's file says of its resolution.
//
// Sources: PNG (W3C Recommendation, 3rd edition) pHYs; JPEG JFIF (ITU-T T.871) density in APP0; else
// XResolution of TIFF 6.0 or EXIF.
#pragma once

#include <filesystem>
#include <optional>

namespace interstice::camera {

// Dots per inch, nothing where the file does not say. Throws InputError when it says different numbers across
// and down: one scale would not do. Unreadable metadata counts as none.
std::optional<double> resolution_dpi(const std::filesystem::path& path);

}  // namespace interstice::camera
