#include "archive/compare.h"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <map>
#include <set>

namespace interstice::archive {
namespace {

constexpr double kCoverageFactor = 2;  // expanded uncertainty, 95 %
constexpr double kChance = 0.05;

double mean_square_sd(const seams::FitTile& tile) {
  double sum = 0;
  std::size_t seen = 0;
  for (const double sd : tile.arris_sd_mm) {
    if (sd < 0) continue;
    sum += sd * sd;
    ++seen;
  }
  return seen > 0 ? sum / static_cast<double>(seen) : 0;
}

// Standard uncertainty of a move: both outlines (their points' errors taken as common to the piece: views and
// poses are), both scales over the distance from the middle of the bowl, and the alignment itself.
double move_uncertainty_mm(const seams::FitTile& a, const seams::FitTile& b, const seams::FitDocument& before,
                           const seams::FitDocument& after, const Alignment& alignment) {
  const double reach = a.face.origin.head<2>().norm();
  const auto scale_sd = [&](const seams::FitDocument& fit) {
    return reach * fit.quality.scale_u95_percent / 100 / kCoverageFactor;
  };
  const double aligned =
      alignment.agreeing > 0 ? alignment.rms_mm / std::sqrt(static_cast<double>(alignment.agreeing)) : 0;
  return std::sqrt(mean_square_sd(a) + mean_square_sd(b) + std::pow(scale_sd(before), 2) +
                   std::pow(scale_sd(after), 2) + aligned * aligned);
}

std::vector<PieceDifference> piece_changes(const seams::FitDocument& before, const seams::FitDocument& after,
                                           const Alignment& alignment) {
  std::vector<PieceDifference> out;
  for (const auto& [a, b] : matched_pieces(before, after)) {
    const std::optional<PieceShift> shift = piece_shift(*a, *b, alignment.a_T_b);
    if (!shift) continue;
    PieceDifference change{a->label, a->ring, *shift, b->height_mm, 0, false};
    change.u95_mm = kCoverageFactor * move_uncertainty_mm(*a, *b, before, after, alignment);
    change.moved = shift->moved_mm.norm() > change.u95_mm;
    out.push_back(change);
  }
  return out;
}

std::vector<SeamChange> seam_changes(const seams::FitDocument& before, const seams::FitDocument& after) {
  std::map<std::pair<std::string, std::string>, const seams::FitSeam*> later;
  for (const seams::FitSeam& seam : after.seams) later[std::minmax(seam.tiles[0], seam.tiles[1])] = &seam;
  std::vector<SeamChange> out;
  for (const seams::FitSeam& seam : before.seams) {
    const auto it = later.find(std::minmax(seam.tiles[0], seam.tiles[1]));
    if (it == later.end() || !seam.narrowest_mm || !it->second->narrowest_mm) continue;
    SeamChange change{seam.tiles, *seam.narrowest_mm, *it->second->narrowest_mm, 0, false, false};
    change.u95_mm = std::hypot(seam.u95_mm.value_or(0), it->second->u95_mm.value_or(0));
    out.push_back(change);
  }
  // Probability kChance that any of n unchanged seams goes beyond its bound.
  const double each = 1 - std::pow(1 - kChance, 1 / std::max(1.0, static_cast<double>(out.size())));
  const double bound = boost::math::quantile(boost::math::normal(), 1 - each / 2) / kCoverageFactor;
  for (SeamChange& change : out) {
    change.changed = std::abs(change.change_mm()) > change.u95_mm;
    change.sure = std::abs(change.change_mm()) > std::max(1.0, bound) * change.u95_mm;
  }
  return out;
}

CameIn summary(int ring, const std::vector<const PieceDifference*>& pieces) {
  CameIn out;
  out.ring = ring;
  out.pieces = pieces.size();
  double sum = 0, squares = 0;
  for (const PieceDifference* p : pieces) sum += p->shift.in_mm;
  out.mean_mm = sum / static_cast<double>(pieces.size());
  out.least_mm = out.most_mm = pieces.front()->shift.in_mm;
  out.thinnest_left_mm = pieces.front()->left_mm;
  out.most_at = out.thinnest_at = pieces.front()->label;
  for (const PieceDifference* p : pieces) {
    squares += std::pow(p->shift.in_mm - out.mean_mm, 2);
    out.least_mm = std::min(out.least_mm, p->shift.in_mm);
    if (p->shift.in_mm > out.most_mm) {
      out.most_mm = p->shift.in_mm;
      out.most_at = p->label;
    }
    if (p->left_mm < out.thinnest_left_mm) {
      out.thinnest_left_mm = p->left_mm;
      out.thinnest_at = p->label;
    }
  }
  out.sd_mm = pieces.size() > 1 ? std::sqrt(squares / static_cast<double>(pieces.size() - 1)) : 0;
  return out;
}

std::vector<CameIn> came_in(const std::vector<PieceDifference>& pieces) {
  std::map<int, std::vector<const PieceDifference*>> by_ring;
  std::vector<const PieceDifference*> all;
  for (const PieceDifference& p : pieces) {
    by_ring[p.ring].push_back(&p);
    all.push_back(&p);
  }
  std::vector<CameIn> out;
  if (all.empty()) return out;
  out.push_back(summary(0, all));
  for (const auto& [ring, group] : by_ring) out.push_back(summary(ring, group));
  return out;
}

std::vector<std::string> placed_only_in(const seams::FitDocument& one, const seams::FitDocument& other) {
  std::set<std::string> there;
  for (const seams::FitTile& tile : other.tiles) {
    if (tile.state == plan::TileState::placed) there.insert(tile.label);
  }
  std::vector<std::string> out;
  for (const seams::FitTile& tile : one.tiles) {
    if (tile.state == plan::TileState::placed && !there.contains(tile.label)) out.push_back(tile.label);
  }
  return out;
}

}  // namespace

Comparison compare(const seams::FitDocument& before, const seams::FitDocument& after) {
  Comparison out;
  out.alignment = align(before, after);
  out.pieces = piece_changes(before, after, out.alignment);
  out.seams = seam_changes(before, after);
  out.by_chance = static_cast<std::size_t>(std::lround(kChance * static_cast<double>(out.seams.size())));
  out.only_before = placed_only_in(before, after);
  out.only_after = placed_only_in(after, before);
  out.came_in = came_in(out.pieces);
  return out;
}

}  // namespace interstice::archive
