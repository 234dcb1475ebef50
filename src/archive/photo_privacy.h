// Where a photo was taken and whatever else it tells, and taking that out of it.
#pragma once

#include <string>

namespace interstice::archive {

// Whether the bytes are a picture of a kind that clean_picture() knows, by how they begin.
bool is_picture_content(const std::string& bytes);

// The picture alone: its pixels as they are (JPEG, PNG, WebP and HEIC data byte for byte, TIFF samples
// unchanged), colour profile, orientation, make, model and focal length. Nothing else goes along: no other
// metadata, no thumbnail, no second picture, no film, nothing after the picture's end. What comes out is read
// back before it is returned. Throws InputError(file, ...) when that cannot be done.
std::string clean_picture(const std::string& picture, const std::string& file);

}  // namespace interstice::archive
