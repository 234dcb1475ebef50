#include "archive/tells_location.h"

#include <algorithm>
#include <array>
#include <exiv2/exiv2.hpp>
#include <mutex>

namespace interstice {
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
bool tells_place(const Data& data) {
  return std::any_of(data.begin(), data.end(), [](const auto& d) { return is_place(d); });
}

}  // namespace

bool tells_location(const std::string& picture) {
  static std::once_flag once;
  std::call_once(once, [] {
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    Exiv2::XmpParser::initialize();
    Exiv2::enableBMFF(true);  // HEIC
  });
  const Exiv2::Image::AutoPtr image = Exiv2::ImageFactory::open(
      reinterpret_cast<const Exiv2::byte*>(picture.data()), static_cast<long>(picture.size()));
  image->readMetadata();
  return tells_place(image->exifData()) || tells_place(image->iptcData()) || tells_place(image->xmpData());
}

}  // namespace interstice
