#include "scan/photo_lenses.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

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

bool may_be(const camera::Lens& given, const camera::PhotoInfo& info) {
  if (!given.camera.empty() && !info.camera.empty() && given.camera != info.camera) return false;
  const double aspect = double(given.width) / given.height - double(info.width) / info.height;
  if (std::abs(aspect) >= 2e-3) return false;
  if (!info.focal_35mm) return true;
  const double exif = camera::exif_focal_px(info), file = given.fx * info.width / given.width;
  return std::abs(exif / file - 1) < kAnotherLens;
}

}  // namespace

StartLens start_lens(const camera::PhotoInfo& info, const std::optional<camera::Lens>& given) {
  if (given && may_be(*given, info)) return {given->scaled_to(info.width, info.height), true};
  return {camera::plain_lens(info.width, info.height, camera::exif_focal_px(info)), false};
}

std::vector<camera::LensVector> group_lenses(Bundle& bundle, const std::vector<PhotoLens>& photos) {
  const auto tenths = [](const std::optional<double>& mm) { return mm ? std::lround(10 * *mm) : -1; };
  std::map<std::tuple<std::string, int, int, long, long>, LensIndex> group;
  geometry::IndexedVector<LensIndex, camera::Lens> lenses;
  std::vector<camera::LensVector> priors;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    const camera::PhotoInfo& info = *photos[i].info;
    const auto key =
        std::tuple(info.camera, info.width, info.height, tenths(info.focal_mm), tenths(info.focal_35mm));
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
