// Inside the archive stage only: pictures rewritten from what may be handed on, format by format.
//
// Every function takes a whole file and returns a new one that holds the picture's own data as they were, its
// ICC profile, and fresh EXIF with CameraFacts; nothing else of the old file. They throw InputError(file,
// ...) for what cannot be rewritten so, and Damaged where the file ends or counts wrongly.
#pragma once

#include <cstdint>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>

namespace interstice::archive {

// What is kept of a picture's EXIF: enough to measure from it again.
struct CameraFacts {
  int orientation = 0;  // EXIF's, 1 to 8; 0: not stated
  std::string make, model;
  std::optional<double> focal_mm, focal_35mm;
};

// As EXIF data (a TIFF structure); empty when there is nothing to say.
std::string fresh_exif(const CameraFacts& facts);

struct Damaged : std::out_of_range {
  Damaged() : std::out_of_range("cut short or damaged") {}
};

// Big-endian number of `length` bytes; throws Damaged beyond the end.
std::uint64_t big_endian(std::string_view bytes, std::size_t at, std::size_t length);
std::string as_big_endian(std::uint64_t number, std::size_t length);
// The bytes themselves; throws Damaged beyond the end.
std::string_view slice(std::string_view bytes, std::size_t at, std::size_t length);

// The profile cut at the length that it states itself (ICC.1:2010, 7.2); nothing if it is none.
std::optional<std::string> icc_profile(std::string_view bytes);

std::string clean_jpeg(const std::string& picture, const CameraFacts& facts, const std::string& file);
std::string clean_png(const std::string& picture, const CameraFacts& facts, const std::string& file);
std::string clean_webp(const std::string& picture, const CameraFacts& facts, const std::string& file);
std::string clean_tiff(const std::string& picture, const CameraFacts& facts, const std::string& file);
std::string clean_heif(const std::string& picture, const CameraFacts& facts, const std::string& file);

}  // namespace interstice::archive
