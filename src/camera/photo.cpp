#include "camera/photo.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <exiv2/exiv2.hpp>
#include <map>
#include <mutex>

#include "camera/photo_file.h"
#include "core/name_check.h"

namespace fs = std::filesystem;

namespace interstice::camera {
namespace {

constexpr double kFullFrameDiagonalMm = 43.266615305567875;  // of 36 x 24 mm

bool is_photo_name(const fs::path& path) {
  static constexpr std::array<const char*, 8> kExtensions = {".jpg",  ".jpeg", ".png",  ".tif",
                                                             ".tiff", ".heic", ".heif", ".webp"};
  const std::string extension = core::lower_ascii(path.extension().string());
  return path.filename().string().front() != '.' &&
         std::find(kExtensions.begin(), kExtensions.end(), extension) != kExtensions.end();
}

std::string trimmed(std::string text) {
  const auto keep = [](char c) { return static_cast<unsigned char>(c) > 0x20; };
  text.erase(text.begin(), std::find_if(text.begin(), text.end(), keep));
  text.erase(std::find_if(text.rbegin(), text.rend(), keep).base(), text.end());
  return core::one_line(text, 100);
}

std::string exif_text(const Exiv2::ExifData& exif, const char* key) {
  const auto it = exif.findKey(Exiv2::ExifKey(key));
  return it == exif.end() ? "" : trimmed(it->toString());
}

std::optional<double> exif_number(const Exiv2::ExifData& exif, const char* key) {
  const auto it = exif.findKey(Exiv2::ExifKey(key));
  if (it == exif.end() || it->count() < 1) return std::nullopt;
  const double x = it->toFloat();
  if (!std::isfinite(x) || x <= 0) return std::nullopt;
  return x;
}

std::string camera_name(const Exiv2::ExifData& exif) {
  const std::string make = exif_text(exif, "Exif.Image.Make");
  const std::string model = exif_text(exif, "Exif.Image.Model");
  const std::string lens = exif_text(exif, "Exif.Photo.LensModel");
  std::string name = model.rfind(make, 0) == 0 ? model : trimmed(make + " " + model);
  if (!lens.empty()) name += (name.empty() ? "" : ", ") + lens;
  return name;
}

void read_exif(const PhotoBytes& photo, PhotoInfo& info) {
  // The metadata parser is not safe to use from several threads.
  static std::mutex one_at_a_time;
  const std::lock_guard lock(one_at_a_time);
  try {
    const auto image = Exiv2::ImageFactory::open(reinterpret_cast<const Exiv2::byte*>(photo.bytes.data()),
                                                 static_cast<long>(photo.bytes.size()));
    image->readMetadata();
    const Exiv2::ExifData& exif = image->exifData();
    info.camera = camera_name(exif);
    info.focal_mm = exif_number(exif, "Exif.Photo.FocalLength");
    info.focal_35mm = exif_number(exif, "Exif.Photo.FocalLengthIn35mmFilm");
    const double turn = exif_number(exif, "Exif.Image.Orientation").value_or(1);
    info.exif_orientation = turn >= 1 && turn <= 8 ? static_cast<int>(turn) : 1;
  } catch (const std::exception&) {
    // Damaged EXIF: the picture itself may be sound. What was read before the damage stays.
  }
}

cv::Mat read_pixels(const PhotoInfo& info, bool colour) {
  cv::Mat picture = decode_photo(read_photo_bytes(info.path), colour, info.reduced);
  if (picture.cols != info.width || picture.rows != info.height) {
    throw PhotoError(info.path, "decodes to another size than its header says");
  }
  return picture;
}

}  // namespace

std::vector<fs::path> list_photos(const fs::path& folder) {
  std::error_code ec;
  const std::string shown = core::one_line(folder.string(), 400);
  if (!fs::exists(folder, ec)) throw core::InputError(shown, "no such folder");
  if (!fs::is_directory(folder, ec)) throw core::InputError(shown, "is a file, a folder of photos is needed");
  std::vector<fs::path> photos;
  fs::directory_iterator it(folder, ec);
  if (ec) throw core::InputError(shown, "cannot be opened: " + ec.message());
  for (; it != fs::directory_iterator(); it.increment(ec)) {
    if (ec) throw core::InputError(shown, "cannot be read to its end: " + ec.message());
    if (is_photo_name(it->path()) && it->is_regular_file(ec)) photos.push_back(it->path());
  }
  if (photos.empty()) throw core::InputError(shown, "holds no photo (JPEG, HEIC, PNG, TIFF or WebP)");
  std::sort(photos.begin(), photos.end());
  std::map<std::string, fs::path> by_name;
  for (const fs::path& photo : photos) {
    const auto [earlier, is_new] = by_name.emplace(photo.stem().string(), photo);
    if (!is_new) {
      throw core::InputError(shown, "holds both " + core::one_line(earlier->second.filename().string()) +
                                        " and " + core::one_line(photo.filename().string()) +
                                        "; keep one photo of each name");
    }
  }
  return photos;
}

PhotoInfo read_photo_info(const fs::path& path) {
  const PhotoBytes photo = read_photo_bytes(path);
  const PhotoSize size = photo_size(photo);
  PhotoInfo info;
  info.path = path;
  info.name = core::escaped(path.stem().string());
  info.width = size.width;
  info.height = size.height;
  read_exif(photo, info);
  return info;
}

cv::Mat read_photo_grey(const PhotoInfo& info) {
  return read_pixels(info, false);
}

cv::Mat read_photo_colour(const PhotoInfo& info) {
  return read_pixels(info, true);
}

PhotoInfo reduced_photo(const PhotoInfo& info, int factor) {
  PhotoInfo out = info;
  out.width = info.file_width() / factor;
  out.height = info.file_height() / factor;
  out.reduced = factor;
  return out;
}

double exif_focal_px(const PhotoInfo& info) {
  double focal_35mm = info.focal_35mm.value_or(kDefaultFocal35mm);
  if (!(focal_35mm >= 5 && focal_35mm <= 2000)) focal_35mm = kDefaultFocal35mm;
  return focal_35mm * std::hypot(info.width, info.height) / kFullFrameDiagonalMm;
}

}  // namespace interstice::camera
