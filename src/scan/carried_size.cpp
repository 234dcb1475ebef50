#include "scan/carried_size.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "core/memory_budget.h"
#include "core/parallel.h"
#include "scan/photo_lenses.h"
#include "scan/photo_work.h"

namespace interstice::scan {
namespace {

using camera::PhotoInfo;
using Photos = std::vector<std::optional<PhotoInfo>>;

constexpr double kMostLost = 0.2;
constexpr double kLeastCarriedPixels = 4e6;  // no fewer than scans are known to be measured well with
constexpr int kMostReduced = 4;
constexpr std::size_t kAsked = 6;          // photos of a lens whose edges are looked at
constexpr double kCarriedBytesAPixel = 4;  // colour and light

double pixels_of(const PhotoInfo& info) {
  return static_cast<double>(info.width) * info.height;
}

bool can_be_reduced(const PhotoInfo& whole, int factor) {
  return whole.file_width() % factor == 0 && whole.file_height() % factor == 0 &&
         static_cast<double>(whole.file_width()) * whole.file_height() >=
             kLeastCarriedPixels * factor * factor;
}

// Photos of each lens that may have more pixels than they resolve.
std::vector<std::vector<std::size_t>> large_photos(const Photos& photos) {
  std::map<LensKey, std::vector<std::size_t>> lenses;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    if (photos[i] && can_be_reduced(*photos[i], 2)) lenses[lens_key(*photos[i])].push_back(i);
  }
  std::vector<std::vector<std::size_t>> out;
  for (auto& [key, group] : lenses) out.push_back(std::move(group));
  return out;
}

// Of one lens: of photos spread evenly over all; nothing when the edges of most of those cannot be read.
std::optional<double> spread_of(const std::vector<std::size_t>& group, const Photos& photos,
                                const core::KeptWork* kept, int threads) {
  const std::size_t asked = std::min(kAsked, group.size());
  std::vector<std::optional<double>> seen(asked);
  core::parallel_for(asked, threads, [&](std::size_t k) {
    const PhotoInfo& info = *photos[group[(2 * k + 1) * group.size() / (2 * asked)]];
    try {
      seen[k] = PhotoWork(info, camera::Lens(), kept).edge_spread();
    } catch (const camera::PhotoError&) {
      // Named, and left out, when it is read for its cards.
    }
  });
  std::vector<double> spreads;
  for (const auto& s : seen) {
    if (s) spreads.push_back(*s);
  }
  if (2 * spreads.size() < asked) return std::nullopt;
  std::sort(spreads.begin(), spreads.end());
  return spreads[spreads.size() / 4];
}

std::string sides(int width, int height) {
  return std::to_string(width) + " x " + std::to_string(height);
}

// Halves the large photos until all fit.
std::string fit_into_memory(Photos& photos) {
  const double limit = 2.0 * static_cast<double>(core::memory_for_decoding());
  std::string note;
  for (int factor = 2; factor <= kMostReduced; factor *= 2) {
    double bytes = 0;
    for (const auto& photo : photos) bytes += photo ? kCarriedBytesAPixel * pixels_of(*photo) : 0;
    if (bytes <= limit) break;
    for (auto& photo : photos) {
      if (!photo || photo->reduced >= factor || !can_be_reduced(*photo, factor)) continue;
      *photo = camera::reduced_photo(*photo, factor);
      note = "photos carried at up to " + std::to_string(factor) +
             " times fewer pixels a side than they have: the whole ones need more memory than there is";
    }
  }
  return note;
}

}  // namespace

int resolved_reduction(const PhotoInfo& whole, std::optional<double> spread_px) {
  if (!spread_px) return 1;
  for (int factor = kMostReduced; factor > 1; factor /= 2) {
    const double lost = std::erfc(std::numbers::pi * *spread_px / factor);
    if (lost <= kMostLost && can_be_reduced(whole, factor)) return factor;
  }
  return 1;
}

std::string carry_resolved_pixels(Photos& photos, const core::KeptWork* kept, int threads) {
  std::string note;
  for (const std::vector<std::size_t>& group : large_photos(photos)) {
    const int factor = resolved_reduction(*photos[group.front()], spread_of(group, photos, kept, threads));
    if (factor == 1) continue;
    for (const std::size_t i : group) photos[i] = camera::reduced_photo(*photos[i], factor);
    const PhotoInfo& one = *photos[group.front()];
    note += (note.empty() ? "" : "; ") + std::string("photos of ") +
            sides(one.file_width(), one.file_height()) + " pixels resolve no more than " +
            sides(one.width, one.height) + " hold, and are measured in those";
  }
  const std::string memory = fit_into_memory(photos);
  return note.empty() || memory.empty() ? note + memory : note + "; " + memory;
}

}  // namespace interstice::scan
