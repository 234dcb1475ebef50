#include "archive/photo_privacy.h"

#include <algorithm>
#include <array>
#include <exiv2/exiv2.hpp>
#include <mutex>

#include "core/errors.h"

namespace interstice::archive {
namespace {

// Place names as picture programs write them (IPTC IIM 4.2 datasets 2:26, 2:27, 2:90, 2:92, 2:95, 2:100,
// 2:101 and their XMP twins).
constexpr std::array kIptcPlaces{"LocationCode",  "LocationName", "City",       "SubLocation",
                                 "ProvinceState", "CountryCode",  "CountryName"};
constexpr std::array kXmpPlaces{
    "Xmp.exif.GPS",          "Xmp.photoshop.City",          "Xmp.photoshop.State",
    "Xmp.photoshop.Country", "Xmp.iptc.Location",           "Xmp.iptc.CountryCode",
    "Xmp.iptcExt.Location",  "Xmp.iptcExt.LocationCreated", "Xmp.iptcExt.LocationShown"};

bool is_place(const Exiv2::Exifdatum& d) {
  return d.groupName() == "GPSInfo" || d.key() == "Exif.Image.GPSTag";
}

bool is_place(const Exiv2::Iptcdatum& d) {
  return std::find(kIptcPlaces.begin(), kIptcPlaces.end(), d.tagName()) != kIptcPlaces.end();
}

bool is_place(const Exiv2::Xmpdatum& d) {
  return std::any_of(kXmpPlaces.begin(), kXmpPlaces.end(),
                     [&](const char* start) { return d.key().rfind(start, 0) == 0; });
}

template <class Data>
std::size_t erase_places(Data& data) {
  std::size_t erased = 0;
  for (auto it = data.begin(); it != data.end();) {
    if (is_place(*it)) {
      it = data.erase(it);
      ++erased;
    } else {
      ++it;
    }
  }
  return erased;
}

Exiv2::Image::AutoPtr opened(const std::string& picture, const std::string& file) {
  static std::once_flag once;
  std::call_once(once, [] {
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    Exiv2::XmpParser::initialize();
    Exiv2::enableBMFF(true);  // HEIC
  });
  try {
    Exiv2::Image::AutoPtr image = Exiv2::ImageFactory::open(
        reinterpret_cast<const Exiv2::byte*>(picture.data()), static_cast<long>(picture.size()));
    image->readMetadata();
    return image;
  } catch (const std::exception& e) {
    throw core::InputError(file, "cannot be searched for a location (" + core::one_line(e.what(), 120) + ")");
  }
}

std::size_t erase_all_places(Exiv2::Image& image) {
  return erase_places(image.exifData()) + erase_places(image.iptcData()) + erase_places(image.xmpData());
}

}  // namespace

bool tells_location(const std::string& picture, const std::string& file) {
  return erase_all_places(*opened(picture, file)) > 0;
}

std::string without_location(const std::string& picture, const std::string& file) {
  const Exiv2::Image::AutoPtr image = opened(picture, file);
  erase_all_places(*image);
  try {
    image->writeMetadata();
  } catch (const std::exception& e) {
    throw core::InputError(
        file, "holds a location that cannot be taken out (" + core::one_line(e.what(), 120) + ")");
  }
  Exiv2::BasicIo& io = image->io();
  io.open();
  const Exiv2::DataBuf bytes = io.read(static_cast<long>(io.size()));
  std::string out(reinterpret_cast<const char*>(bytes.pData_), static_cast<std::size_t>(bytes.size_));
  if (tells_location(out, file)) throw core::InputError(file, "holds a location that cannot be taken out");
  return out;
}

}  // namespace interstice::archive
