#include "scan/few_photos.h"

#include "core/counted.h"

namespace interstice::scan {

std::string few_photos(std::size_t photos) {
  return "only " + core::counted(photos, "photo shows", "photos show") +
         " cards that connect; take at least " + std::to_string(kFewestPhotos) +
         " photos all round with two cards in each";
}

std::string few_photos_or(std::size_t photos, const std::string& message) {
  return photos < kFewestPhotos ? few_photos(photos) : message;
}

}  // namespace interstice::scan
