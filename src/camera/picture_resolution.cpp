#include "camera/picture_resolution.h"

#include <fmt/core.h>

#include <cmath>
#include <cstdint>
#include <exiv2/exiv2.hpp>
#include <string>

#include "camera/photo_file.h"
#include "core/errors.h"

namespace interstice::camera {
namespace {

constexpr double kInchMm = 25.4;

struct Density {
  double across = 0, down = 0;  // dots an inch
};

// Big-endian, at a place that is there.
std::uint32_t unsigned_at(const std::string& bytes, std::size_t from, std::size_t count) {
  std::uint32_t value = 0;
  for (std::size_t k = 0; k < count; ++k) value = value << 8 | static_cast<unsigned char>(bytes[from + k]);
  return value;
}

std::optional<Density> png_density(const std::string& bytes) {
  constexpr double kInchesPerMetre = 1000 / kInchMm;
  for (std::size_t at = 8; at + 12 <= bytes.size();) {
    const std::size_t length = unsigned_at(bytes, at, 4);
    const std::string kind = bytes.substr(at + 4, 4);
    if (kind == "IDAT" || length > bytes.size() - at - 12) return std::nullopt;
    if (kind == "pHYs" && length == 9 && bytes[at + 16] == 1) {  // dots a metre
      return Density{unsigned_at(bytes, at + 8, 4) / kInchesPerMetre,
                     unsigned_at(bytes, at + 12, 4) / kInchesPerMetre};
    }
    at += length + 12;
  }
  return std::nullopt;
}

std::optional<Density> jfif_density(const std::string& bytes) {
  // Right after the start of the image (T.871, 10.1).
  if (bytes.size() < 18 || bytes.compare(2, 2, "\xff\xe0") != 0 ||
      bytes.compare(6, 5, std::string("JFIF\0", 5)) != 0)
    return std::nullopt;
  const int unit = static_cast<unsigned char>(bytes[13]);
  if (unit != 1 && unit != 2) return std::nullopt;
  const double inch = unit == 1 ? 1.0 : kInchMm / 10;
  return Density{inch * unsigned_at(bytes, 14, 2), inch * unsigned_at(bytes, 16, 2)};
}

std::optional<Density> exif_density(const std::string& bytes) {
  try {
    const auto image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(bytes.data()),
                                                 static_cast<long>(bytes.size()));
    image->readMetadata();
    const Exiv2::ExifData& exif = image->exifData();
    const auto x = exif.findKey(Exiv2::ExifKey("Exif.Image.XResolution"));
    const auto y = exif.findKey(Exiv2::ExifKey("Exif.Image.YResolution"));
    const auto unit = exif.findKey(Exiv2::ExifKey("Exif.Image.ResolutionUnit"));
    if (x == exif.end() || y == exif.end()) return std::nullopt;
    const long code = unit == exif.end() ? 2 : unit->toLong();
    if (code != 2 && code != 3) return std::nullopt;
    const double inch = code == 2 ? 1.0 : kInchMm / 10;
    return Density{inch * static_cast<double>(x->toFloat()), inch * static_cast<double>(y->toFloat())};
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

}  // namespace

std::optional<double> resolution_dpi(const std::filesystem::path& path) {
  const PhotoBytes photo = read_photo_bytes(path);
  std::optional<Density> density;
  if (photo.kind == PhotoKind::png) density = png_density(photo.bytes);
  if (photo.kind == PhotoKind::jpeg) density = jfif_density(photo.bytes);
  if (!density && photo.kind != PhotoKind::png) density = exif_density(photo.bytes);
  if (!density || !std::isfinite(density->across) || !std::isfinite(density->down)) return std::nullopt;
  constexpr double kLeast = 2;  // 1 x 1 is an aspect, not a resolution
  if (density->across < kLeast || density->down < kLeast) return std::nullopt;
  if (std::abs(density->across / density->down - 1) > 0.005) {
    throw core::InputError(
        core::one_line(path.string(), 400),
        fmt::format(
            "has {:.0f} dots per inch across and {:.0f} down: scan it with the same resolution both ways",
            density->across, density->down));
  }
  return density->across;
}

}  // namespace interstice::camera
