#include "scan/photo_lenses.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "core/errors.h"

namespace interstice::scan {

namespace {

// EXIF gives the 35-mm equivalent in whole millimetres and for the uncropped sensor, good to some 10 %; two
// lenses of one phone differ by half and more (common practice, no source).
constexpr double kAnotherLens = 0.2;

camera::LensVector lens_prior(const camera::Lens& lens, bool from_file) {
  camera::LensVector sd;
  const double size = std::max(lens.width, lens.height);
  if (!from_file) {
    sd << 0.1 * lens.fx, 0.1 * lens.fx, 0.03 * size, 0.03 * size, 0.3, 0.5, 0.005, 0.005, 0.7;
    return sd;
  }
  // The file's lens, loosened: another day's focusing and temperature move it by more than its own
  // uncertainty.
  sd << 0.003 * lens.fx, 0.003 * lens.fx, 0.001 * size, 0.001 * size, 0.005, 0.02, 0.0002, 0.0002, 0.03;
  return sd.cwiseMax(3 * lens.sd);
}

std::string pixels(int width, int height) {
  return std::to_string(width) + " x " + std::to_string(height) + " pixels";
}

// Why a lens file does not count for a photo; empty: it does.
std::string why_not(const camera::Lens& given, const camera::PhotoInfo& info) {
  if (!given.camera.empty() && !info.camera.empty() && given.camera != info.camera)
    return "it is of " + core::one_line(given.camera, 40) + ", the photo of " +
           core::one_line(info.camera, 40);
  const double aspect = double(given.width) / given.height - double(info.width) / info.height;
  if (std::abs(aspect) >= 2e-3)
    return "it is for " + pixels(given.width, given.height) + ", another shape than " +
           pixels(info.file_width(), info.file_height());
  if (!info.focal_35mm) return "";
  const double exif = camera::exif_focal_px(info), file = given.fx * info.width / given.width;
  if (std::abs(exif / file - 1) < kAnotherLens) return "";
  return "the photo was taken with another of the phone's lenses, or zoomed";
}

}  // namespace

StartLens start_lens(const camera::PhotoInfo& info, const std::optional<camera::Lens>& given) {
  const std::string fault = given ? why_not(*given, info) : "";
  if (given && fault.empty()) return {given->scaled_to(info.width, info.height), true};
  return {camera::plain_lens(info.width, info.height, camera::exif_focal_px(info)), false, fault};
}

std::string lens_file_note(const std::optional<camera::Lens>& given, const std::vector<StartLens>& photos) {
  if (!given || photos.empty()) return "";
  std::size_t used = 0;
  const StartLens* example = nullptr;
  const StartLens* other = nullptr;
  for (const StartLens& photo : photos) {
    used += photo.from_file;
    (photo.from_file ? example : other) = &photo;
  }
  std::string note = "lens file: ";
  if (example == nullptr) return note + "not used, " + other->why_not + "; the scan calibrates itself";
  const bool scaled = example->lens.width != given->width;
  note += scaled ? "scaled from " + pixels(given->width, given->height) + " to " +
                       pixels(example->lens.width, example->lens.height)
                 : "used";
  if (other == nullptr) return note;
  return note + " for " + std::to_string(used) + " of " + std::to_string(photos.size()) +
         " photos; not for the others: " + other->why_not;
}

LensKey lens_key(const camera::PhotoInfo& info) {
  const auto tenths = [](const std::optional<double>& mm) { return mm ? std::lround(10 * *mm) : -1; };
  return {info.camera, info.width, info.height, tenths(info.focal_mm), tenths(info.focal_35mm)};
}

std::vector<camera::LensVector> group_lenses(Bundle& bundle, const std::vector<PhotoLens>& photos) {
  std::map<LensKey, LensIndex> group;
  geometry::IndexedVector<LensIndex, camera::Lens> lenses;
  std::vector<camera::LensVector> priors;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const LensKey key = lens_key(*photos[i].info);
    auto it = group.find(key);
    if (it == group.end()) {
      it = group.emplace(key, lenses.push_back(photos[i].start->lens)).first;
      priors.push_back(lens_prior(photos[i].start->lens, photos[i].start->from_file));
    }
    bundle.lens_of[geometry::PhotoIndex(i)] = it->second;
  }
  bundle.lenses = std::move(lenses);
  return priors;
}

}  // namespace interstice::scan
