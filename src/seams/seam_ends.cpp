#include "seams/seam_ends.h"

#include <cmath>
#include <limits>

#include "core/verdict.h"

namespace interstice::seams {
namespace {

double middle_height(const EndPiece& piece) {
  double sum = 0;
  for (const Eigen::Vector3d& p : *piece.arris) sum += p.z() / static_cast<double>(piece.arris->size());
  return piece.arris->empty() ? std::numeric_limits<double>::infinity() : sum;
}

// Index of the piece of that label; the number of pieces where there is none.
geometry::TileIndex piece_of(const FitDocument& fit, const std::string& label) {
  std::size_t i = 0;
  while (i < fit.tiles.size() && fit.tiles[i].label != label) ++i;
  return geometry::TileIndex(i);
}

Eigen::Vector3d middle_of(const SeamSample& sample) {
  return (sample.a + sample.b) / 2;
}

std::string end_of(const FitDocument& fit, const FitSeam& seam, const SeamSample& sample) {
  return name_of_end(end_pieces(fit), piece_of(fit, seam.tiles[0]), piece_of(fit, seam.tiles[1]),
                     middle_of(sample));
}

}  // namespace

EndPieces end_pieces(const FitDocument& fit) {
  EndPieces out;
  for (const FitTile& t : fit.tiles) out.push_back({&t.label, t.ring, &t.arris});
  return out;
}

std::string name_of_end(const EndPieces& pieces, geometry::TileIndex a, geometry::TileIndex b,
                        const Eigen::Vector3d& place) {
  constexpr double kReach_mm = 1.5 * core::kWidestSeam_mm;
  double best2 = kReach_mm * kReach_mm;
  std::optional<geometry::TileIndex> best;
  bool lowest = true;
  for (const geometry::TileIndex i : pieces.indices()) {
    if (i == a || i == b) {
      lowest = lowest && pieces[i].ring == 1 && place.z() < middle_height(pieces[i]);
      continue;
    }
    for (const Eigen::Vector3d& p : *pieces[i].arris) {
      const double d2 = (p - place).squaredNorm();
      if (d2 < best2) best2 = d2, best = i;
    }
  }
  return best ? *pieces[*best].label : lowest ? "the rim" : "the open side";
}

std::array<std::string, 2> seam_ends(const FitDocument& fit, const FitSeam& seam) {
  if (seam.samples.empty()) return {};
  return {end_of(fit, seam, seam.samples.front()), end_of(fit, seam, seam.samples.back())};
}

std::optional<SeamPlace> place_along(const FitDocument& fit, const FitSeam& seam, const Eigen::Vector3d& at) {
  if (seam.samples.empty()) return std::nullopt;
  const SeamSample* nearest = &seam.samples.front();
  for (const SeamSample& s : seam.samples) {
    if ((middle_of(s) - at).squaredNorm() < (middle_of(*nearest) - at).squaredNorm()) nearest = &s;
  }
  const double first = nearest->s_mm - seam.samples.front().s_mm,
               last = seam.samples.back().s_mm - nearest->s_mm;
  return SeamPlace{std::min(first, last),
                   end_of(fit, seam, first <= last ? seam.samples.front() : seam.samples.back())};
}

std::string place_words(const SeamPlace& place) {
  const bool away = place.from_end_mm >= 0.5;
  return (away ? std::to_string(std::lround(place.from_end_mm)) + " mm from" : std::string("at")) +
         " its end at " + place.end;
}

}  // namespace interstice::seams
