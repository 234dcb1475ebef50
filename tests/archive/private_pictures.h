// Pictures that tell a place in every way that phones and picture programs do, made for the test.
#pragma once

#include <map>
#include <string>

namespace interstice::sample {

// Stands in every carrier of a place or a note, as text; found nowhere in a picture that is clean.
inline constexpr const char* kSecret = "Q7-quay-51.4779N-Q7";

// By file name: JPEG with EXIF, maker note, XMP, IPTC and comment; with a film behind it; with a second
// picture (MPF); with extended XMP; with a second EXIF segment; progressive; HEIC of one picture and of two
// tiles; PNG, WebP and TIFF with their own kinds of notes. Each has orientation 6, make "Heron", model "Wader
// 2" and a focal length of 5.7 mm; the JPEG "icc.jpg" a colour profile of 100000 bytes in two segments.
std::map<std::string, std::string> private_pictures();

// All pixels of a picture as bytes, whatever its kind.
std::string pixels_of(const std::string& picture);

// The profile that "icc.jpg" was given.
std::string large_profile();

}  // namespace interstice::sample
