// Inside the camera stage only: the bytes of a photo, what kind of file they are, and their decoding.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>

#include "camera/photo.h"

namespace interstice::camera {

enum class PhotoKind { jpeg, png, tiff, webp, heif };

struct PhotoBytes {
  std::filesystem::path path;
  std::string bytes;
  PhotoKind kind = PhotoKind::jpeg;
};

// Reads the file and tells its kind from its first bytes. Throws PhotoError.
PhotoBytes read_photo_bytes(const std::filesystem::path& path);

struct PhotoSize {
  int width = 0, height = 0;
};

// Refuses sizes of nothing and beyond kMaxMegapixels. Throws PhotoError.
void check_photo_size(const PhotoBytes& photo, double width, double height);

// Size in sensor orientation, from the headers alone; refuses sizes beyond kMaxMegapixels. Throws PhotoError.
PhotoSize photo_size(const PhotoBytes& photo);

// The picture, 8 bits, one channel or three (B, G, R), of a `reduced`-th of its sides (1, 2 or 4). Throws PhotoError.
cv::Mat decode_photo(const PhotoBytes& photo, bool colour, int reduced);

// Keeps the image libraries from printing; harmless to call often.
void quiet_image_libraries();

}  // namespace interstice::camera
