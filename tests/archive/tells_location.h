// A witness of what pictures tell, which the program does not use: metadata as a library finds them.
#pragma once

#include <string>

namespace interstice {

// Whether the picture's metadata (EXIF, XMP, IPTC) say where it was taken: GPS tags, or place names. Throws
// std::exception when the bytes cannot be read as a picture.
bool tells_location(const std::string& picture);

}  // namespace interstice
