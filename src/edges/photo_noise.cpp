#include "edges/photo_noise.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace interstice::edges {

// Neighbours along an edge err alike over some millimetres; a tenth as many errors of their own tell a spread to a
// quarter.
constexpr std::size_t kEnough = 100;

PhotoNoise photo_noise(const std::vector<const TracedArris*>& traced, std::size_t photos) {
  std::vector<std::vector<double>> sizes(photos);
  for (const TracedArris* piece : traced) {
    for (const ArrisObservation& o : piece->observations)
      sizes[o.photo.value].push_back(std::abs(o.residual_mm) / o.sd_mm);
  }
  std::vector<double> spreads, told;
  for (std::vector<double>& of_photo : sizes) {
    const bool enough = of_photo.size() >= kEnough;
    spreads.push_back(enough ? core::robust_sd(std::move(of_photo)) : 0.0);
    if (enough) told.push_back(spreads.back());
  }
  const double usual = core::median(std::move(told));
  PhotoNoise out;
  for (const double spread : spreads) out.push_back(usual > 0 ? std::max(1.0, spread / usual) : 1.0);
  return out;
}

}  // namespace interstice::edges
