#include "archive/photo_privacy.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <mutex>
#include <string_view>

#include "archive/picture_parts.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

// What a cleaned picture may say. The tags of a TIFF's own structure count as the picture's data.
constexpr std::array kKept{"Exif.Image.Make",        "Exif.Image.Model",
                           "Exif.Image.Orientation", "Exif.Image.ExifTag",
                           "Exif.Photo.FocalLength", "Exif.Photo.FocalLengthIn35mmFilm"};
constexpr std::array kTiffStructure{"NewSubfileType", "ImageWidth",      "ImageLength",
                                    "BitsPerSample",  "Compression",     "PhotometricInterpretation",
                                    "FillOrder",      "StripOffsets",    "SamplesPerPixel",
                                    "RowsPerStrip",   "StripByteCounts", "PlanarConfiguration",
                                    "Predictor",      "ColorMap",        "TileWidth",
                                    "TileLength",     "TileOffsets",     "TileByteCounts",
                                    "ExtraSamples",   "SampleFormat",    "InterColorProfile",
                                    "XResolution",    "YResolution",     "ResolutionUnit"};

void set_up_reader() {
  static std::once_flag once;
  std::call_once(once, [] {
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    Exiv2::XmpParser::initialize();
    Exiv2::enableBMFF(true);  // HEIC
  });
}

Exiv2::Image::AutoPtr opened(const std::string& picture, const std::string& file) {
  set_up_reader();
  try {
    Exiv2::Image::AutoPtr image = Exiv2::ImageFactory::open(
        reinterpret_cast<const Exiv2::byte*>(picture.data()), static_cast<long>(picture.size()));
    image->readMetadata();
    return image;
  } catch (const std::exception& e) {
    throw core::InputError(file, "cannot be searched for a location (" + core::one_line(e.what(), 120) + ")");
  }
}

// Printable ASCII as EXIF wants it, no longer than any maker's name.
std::string plain_text(const Exiv2::ExifData& exif, const char* key) {
  const auto it = exif.findKey(Exiv2::ExifKey(key));
  if (it == exif.end()) return "";
  std::string out;
  for (const char c : it->toString()) {
    if (c >= 0x20 && c < 0x7f) out += c;
  }
  out.erase(out.find_last_not_of(' ') + 1);
  return out.size() <= 64 ? out : "";
}

std::optional<double> plain_number(const Exiv2::ExifData& exif, const char* key, double most) {
  const auto it = exif.findKey(Exiv2::ExifKey(key));
  if (it == exif.end() || it->count() < 1) return std::nullopt;
  const double x = it->toFloat();
  if (!std::isfinite(x) || x <= 0 || x > most) return std::nullopt;
  return x;
}

// Damaged metadata count as none, as far as they are not read by then: the picture itself may be sound.
CameraFacts facts_of(const std::string& picture) {
  set_up_reader();
  CameraFacts facts;
  try {
    const Exiv2::Image::AutoPtr image = Exiv2::ImageFactory::open(
        reinterpret_cast<const Exiv2::byte*>(picture.data()), static_cast<long>(picture.size()));
    try {
      image->readMetadata();
    } catch (const std::exception&) {
    }
    const Exiv2::ExifData& exif = image->exifData();
    facts.make = plain_text(exif, "Exif.Image.Make");
    facts.model = plain_text(exif, "Exif.Image.Model");
    facts.orientation = static_cast<int>(plain_number(exif, "Exif.Image.Orientation", 8).value_or(0));
    // As fine as they are written again: what would be written as nought is not taken for a length.
    facts.focal_mm = plain_number(exif, "Exif.Photo.FocalLength", 10000);
    if (facts.focal_mm && std::lround(*facts.focal_mm * 1000) < 1) facts.focal_mm.reset();
    facts.focal_35mm = plain_number(exif, "Exif.Photo.FocalLengthIn35mmFilm", 65535);
    if (facts.focal_35mm && std::lround(*facts.focal_35mm) < 1) facts.focal_35mm.reset();
  } catch (const std::exception&) {
  }
  return facts;
}

bool is_kept(const Exiv2::Exifdatum& d, bool tiff) {
  if (std::find(kKept.begin(), kKept.end(), d.key()) != kKept.end()) return true;
  return tiff && d.groupName() == "Image" &&
         std::find(kTiffStructure.begin(), kTiffStructure.end(), d.tagName()) != kTiffStructure.end();
}

enum class Kind { none, jpeg, png, tiff, webp, heif };

Kind kind_of(std::string_view b) {
  if (b.substr(0, 3) == "\xff\xd8\xff") return Kind::jpeg;
  if (b.substr(0, 8) == "\x89PNG\r\n\x1a\n") return Kind::png;
  if (b.substr(0, 4) == std::string_view("II*\0", 4) || b.substr(0, 4) == std::string_view("MM\0*", 4))
    return Kind::tiff;
  if (b.substr(0, 4) == "RIFF" && b.size() >= 12 && b.substr(8, 4) == "WEBP") return Kind::webp;
  if (b.size() >= 12 && b.substr(4, 4) == "ftyp") return Kind::heif;
  return Kind::none;
}

std::string rebuilt(const std::string& picture, const std::string& file) {
  const CameraFacts facts = facts_of(picture);
  switch (kind_of(picture)) {
    case Kind::jpeg:
      return clean_jpeg(picture, facts, file);
    case Kind::png:
      return clean_png(picture, facts, file);
    case Kind::tiff:
      return clean_tiff(picture, facts, file);
    case Kind::webp:
      return clean_webp(picture, facts, file);
    case Kind::heif:
      return clean_heif(picture, facts, file);
    case Kind::none:
      break;
  }
  throw core::InputError(file, "is not a picture this program can clean (JPEG, HEIC, PNG, TIFF, WebP)");
}

}  // namespace

std::string fresh_exif(const CameraFacts& facts) {
  Exiv2::ExifData exif;
  if (!facts.make.empty()) exif["Exif.Image.Make"] = facts.make;
  if (!facts.model.empty()) exif["Exif.Image.Model"] = facts.model;
  if (facts.orientation > 0) exif["Exif.Image.Orientation"] = static_cast<std::uint16_t>(facts.orientation);
  if (facts.focal_mm) {
    exif["Exif.Photo.FocalLength"] =
        Exiv2::URational(static_cast<std::uint32_t>(std::lround(*facts.focal_mm * 1000)), 1000);
  }
  if (facts.focal_35mm) {
    exif["Exif.Photo.FocalLengthIn35mmFilm"] = static_cast<std::uint16_t>(std::lround(*facts.focal_35mm));
  }
  if (exif.empty()) return "";
  Exiv2::Blob blob;
  Exiv2::ExifParser::encode(blob, Exiv2::littleEndian, exif);
  return {blob.begin(), blob.end()};
}

std::uint64_t big_endian(std::string_view bytes, std::size_t at, std::size_t length) {
  std::uint64_t number = 0;
  for (const char c : slice(bytes, at, length)) number = number << 8 | static_cast<unsigned char>(c);
  return number;
}

std::string as_big_endian(std::uint64_t number, std::size_t length) {
  std::string out(length, '\0');
  for (std::size_t i = length; i-- > 0; number >>= 8) out[i] = static_cast<char>(number & 0xff);
  return out;
}

std::string_view slice(std::string_view bytes, std::size_t at, std::size_t length) {
  if (at > bytes.size() || length > bytes.size() - at) throw Damaged();
  return bytes.substr(at, length);
}

std::optional<std::string> icc_profile(std::string_view bytes) {
  constexpr std::size_t kHeader = 128;
  if (bytes.size() < kHeader + 4 || bytes.substr(36, 4) != "acsp") return std::nullopt;
  const std::size_t stated = big_endian(bytes, 0, 4);
  if (stated < kHeader + 4 || stated > bytes.size()) return std::nullopt;
  return std::string(bytes.substr(0, stated));
}

bool is_picture_content(const std::string& bytes) {
  return kind_of(bytes) != Kind::none;
}

std::string clean_picture(const std::string& picture, const std::string& file) {
  std::string clean;
  try {
    clean = rebuilt(picture, file);
  } catch (const Damaged&) {
    throw core::InputError(file, "is cut short or damaged");
  }
  // What another reader finds in it now.
  const Exiv2::Image::AutoPtr image = opened(clean, file);
  const Exiv2::ExifData& exif = image->exifData();
  const bool tiff = kind_of(clean) == Kind::tiff;
  const bool only_kept =
      std::all_of(exif.begin(), exif.end(), [&](const Exiv2::Exifdatum& d) { return is_kept(d, tiff); });
  if (!only_kept || !image->iptcData().empty() || !image->xmpData().empty() || !image->comment().empty()) {
    throw core::InputError(file, "holds notes that cannot be taken out");
  }
  return clean;
}

}  // namespace interstice::archive
