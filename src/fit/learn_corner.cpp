#include "fit/learn_corner.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace interstice {

namespace {

constexpr std::size_t kLeastPieces = 8;
constexpr double kLeastSd_mm = 0.03;         // of the height, as the dense faces are no better
constexpr std::size_t kStretch = 8;          // points, 6 mm: light and corner are alike along it
constexpr std::size_t kLeastStretches = 30;  // for a root mean square good to an eighth
constexpr double kLeastHeight_mm = 0.1;      // below, the strip is lost in the edges' noise

// How far views onto the wall see the edge of one stretch from where contours have it, as a share of the
// strip's width; NaN where either is missing.
double share_of_stretch(const std::vector<const ArrisObservation*>& stretch, double contours,
                        const BrokenCorner& corner) {
  double offset = 0, width = 0;
  std::size_t count = 0;
  for (const ArrisObservation* o : stretch) {
    const double w = o->weight / (o->sd_mm * o->sd_mm);
    offset += w * o->residual_mm;
    width += w * strip_width_mm(corner, o->slope);
    ++count;
  }
  return count >= kStretch / 2 && contours >= kStretch / 2 && width > 0 ? offset / width : NAN;
}

void add_shares(const TracedArris& piece, const BrokenCorner& corner, std::vector<double>& shares) {
  const std::size_t stretches = (piece.outline.size() + kStretch - 1) / kStretch;
  std::vector<std::vector<const ArrisObservation*>> wall(stretches);
  std::vector<double> contours(stretches, 0);
  for (const ArrisObservation& o : piece.observations) {
    if (o.slope < 0) {
      contours[o.point / kStretch] += o.weight;
    } else {
      wall[o.point / kStretch].push_back(&o);
    }
  }
  for (std::size_t k = 0; k < stretches; ++k) {
    const double share = share_of_stretch(wall[k], contours[k], corner);
    if (std::isfinite(share)) shares.push_back(share);
  }
}

}  // namespace

BrokenCorner learn_corner(const std::vector<double>& heights_mm,
                          const std::vector<const TracedArris*>& pieces) {
  BrokenCorner corner;
  if (heights_mm.size() < kLeastPieces) return corner;
  corner.height_mm = std::max(0.0, median(heights_mm));
  std::vector<double> apart;
  for (const double h : heights_mm) apart.push_back(std::abs(h - corner.height_mm));
  corner.height_sd_mm = std::max(kLeastSd_mm, median(std::move(apart)) / 0.6745);
  if (corner.height_mm < kLeastHeight_mm) return corner;
  std::vector<double> shares;
  for (const TracedArris* piece : pieces) add_shares(*piece, corner, shares);
  if (shares.size() < kLeastStretches) return corner;
  double sum = 0;
  for (const double s : shares) sum += std::min(s * s, 1.0);
  const double spread = std::sqrt(sum / static_cast<double>(shares.size()));
  corner.wall_spread = std::min(corner.wall_spread, spread);
  corner.hidden_spread = std::min(corner.hidden_spread, spread);
  return corner;
}

}  // namespace interstice
