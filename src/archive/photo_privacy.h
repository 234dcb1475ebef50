// Where a photo was taken, and taking that out of it.
#pragma once

#include <string>

namespace interstice::archive {

// Whether the picture's metadata (EXIF, XMP, IPTC) say where it was taken: GPS tags, or place names. Throws
// InputError(file, ...) when the bytes cannot be read as a picture.
bool tells_location(const std::string& picture, const std::string& file);

// The picture without those metadata; its pixels and all other metadata stay, byte for byte in the pixels'
// case. Throws InputError(file, ...) when its format cannot be rewritten.
std::string without_location(const std::string& picture, const std::string& file);

}  // namespace interstice::archive
