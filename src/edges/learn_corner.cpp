#include "edges/learn_corner.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace interstice::edges {

namespace {

constexpr std::size_t kLeastPieces = 8;
constexpr double kLeastSd_mm = 0.03;         // of the height, as the dense faces are no better
constexpr std::size_t kStretch = 8;          // points, 6 mm: light and corner are alike along it
constexpr std::size_t kLeastStretches = 30;  // for a root mean square good to an eighth
constexpr std::size_t kLeastLookingUp = 10;
constexpr double kMostAspect = 2;        // of a corner sanded at about 45 degrees: 27 to 63
constexpr double kLeastHeight_mm = 0.1;  // below, the strip is lost in the edges' noise

// Views onto the wall against contours, over one stretch of an outline.
struct Stretch {
  double wall = 0, contour = 0;  // information of the readings, without what the corner adds, 1/mm2
  double offset = 0, width = 0;  // sums over the wall's readings, each by its information
  std::size_t readings = 0;      // onto the wall
  double contours = 0;           // by robust weight
  std::size_t looking_up = 0;
  bool tells() const { return readings >= kStretch / 2 && contours >= kStretch / 2; }
};

// How far the wall's views see the edge from where contours have it, the width of the strip there, and the
// variance the noise of the readings alone would give.
struct Apart {
  double offset = 0;  // outward; cut to the strip's width
  double width = 0, noise2 = 0;
  bool looks_up = false;
};

void add_apart(const TracedArris& piece, const BrokenCorner& traced_with, std::vector<Apart>& out) {
  std::vector<Stretch> stretches((piece.outline.size() + kStretch - 1) / kStretch);
  for (const ArrisObservation& o : piece.observations) {
    Stretch& s = stretches[o.point / kStretch];
    if (o.slope < 0) {
      s.contour += o.weight / (o.sd_mm * o.sd_mm);
      s.contours += o.weight;
      continue;
    }
    const double w = o.weight / std::max(1e-6, o.sd_mm * o.sd_mm - o.corner_sd_mm * o.corner_sd_mm);
    s.wall += w;
    s.offset += w * (o.residual_mm + (o.looks_up ? traced_with.up_share * o.strip_mm : 0.0));
    s.width += w * o.strip_mm;
    s.looking_up += o.looks_up ? 1 : 0;
    ++s.readings;
  }
  for (const Stretch& s : stretches) {
    if (!s.tells() || s.wall <= 0) continue;
    const double width = s.width / s.wall;
    if (width < kLeastHeight_mm) continue;
    out.push_back({std::clamp(s.offset / s.wall, -width, width), width,
                   piece.noise_scale * (1 / s.wall + 1 / s.contour), 2 * s.looking_up > s.readings});
  }
}

// Where the edge of walls that look up is seen: the median of the shares, and their robust spread about the
// arris itself, as walls whose arris no contour shows may differ from those where one does.
void learn_walls_looking_up(const std::vector<Apart>& apart, BrokenCorner& corner) {
  corner.up_spread = corner.wall_spread;
  std::vector<double> shares;
  for (const Apart& a : apart) {
    if (!a.looks_up) continue;
    shares.push_back(a.offset / a.width);
  }
  if (shares.size() < kLeastLookingUp) return;
  corner.up_spread = std::max(corner.wall_spread, core::robust_sd_about(shares, 0));
  corner.up_share = core::median(std::move(shares));
}

// The median over the pieces that tell, and how much they differ.
void learn_width(const std::vector<const TracedArris*>& pieces, const BrokenCorner& before,
                 BrokenCorner& corner) {
  const double most_sd_mm = corner.width_sd_mm;
  std::vector<double> wider;
  for (const TracedArris* p : pieces) {
    if (p->wider_sd_mm < 0.5 * most_sd_mm) wider.push_back(p->wider_mm);
  }
  if (wider.size() < kLeastPieces) return;
  const double middle = core::median(wider);
  corner.width_mm =
      std::clamp(before.width_mm + middle, corner.height_mm / kMostAspect, kMostAspect * corner.height_mm);
  corner.width_sd_mm = std::clamp(core::robust_sd_about(std::move(wider), middle), kLeastSd_mm, most_sd_mm);
}

// Pieces may be sanded as unevenly as they like: the mean lets one tell as much as another.
double learn_uneven(const std::vector<const TracedArris*>& pieces) {
  double sum = 0;
  for (const TracedArris* p : pieces) sum += p->uneven_mm2;
  return std::sqrt(sum / static_cast<double>(pieces.size()));
}

}  // namespace

BrokenCorner learn_corner(const std::vector<double>& heights_mm,
                          const std::vector<const TracedArris*>& pieces, const BrokenCorner& traced_with) {
  BrokenCorner corner;
  if (heights_mm.size() < kLeastPieces) return corner;
  corner.height_mm = std::max(0.0, core::median(heights_mm));
  corner.height_sd_mm = std::max(kLeastSd_mm, core::robust_sd_about(heights_mm, corner.height_mm));
  corner.width_mm = corner.height_mm;
  corner.uneven_mm = learn_uneven(pieces);
  if (corner.height_mm < kLeastHeight_mm) return corner;
  learn_width(pieces, traced_with, corner);
  std::vector<Apart> apart;
  for (const TracedArris* piece : pieces) add_apart(*piece, traced_with, apart);
  if (apart.size() < kLeastStretches) return corner;
  // The component of variance between the two kinds of view, by moments.
  double offset2 = 0, noise2 = 0, width2 = 0;
  for (const Apart& a : apart) {
    offset2 += a.offset * a.offset;
    noise2 += a.noise2;
    width2 += a.width * a.width;
  }
  // Contours are read alike everywhere. Walls are harder to read where no contour shows the way: there the
  // whole of the difference is taken.
  const double whole = std::sqrt(offset2 / width2);
  const double beyond_noise = std::sqrt(std::max(0.0, offset2 - noise2) / width2);
  corner.wall_spread = std::min(corner.wall_spread, whole);
  corner.hidden_spread = std::min(corner.hidden_spread, beyond_noise);
  learn_walls_looking_up(apart, corner);
  return corner;
}

}  // namespace interstice::edges
