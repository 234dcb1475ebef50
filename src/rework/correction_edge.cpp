#include "rework/correction_edge.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace interstice::rework {
namespace {

using Eigen::Vector3d;

// A corner of a piece is a neighbour's this far away; farther, nothing is glued there yet or the form ends.
constexpr double kNearEnd_mm = 1.5 * core::kWidestSeam_mm;

}  // namespace

std::optional<EdgePart> edge_facing(const CorrectionShell& shell, std::size_t piece, std::size_t facing) {
  const solid::SolidBody a(shell.pieces[piece].solid), b(shell.pieces[facing].solid);
  std::vector<double> arcs;
  for (const solid::MouthSample& m : solid::mouth_along(a, b)) {
    if (m.third_nearer) continue;
    arcs.push_back(m.from == 0 ? a.arc_at(m.segment, m.t) : a.arc_at(m.to_segment, m.to_t));
  }
  if (arcs.empty()) return std::nullopt;
  std::sort(arcs.begin(), arcs.end());
  // The edge is what is left of the outline without its widest hole.
  const std::size_t n = arcs.size();
  std::size_t start = 0;
  double widest = arcs.front() + a.perimeter_mm() - arcs.back();
  for (std::size_t i = 1; i < n; ++i) {
    if (arcs[i] - arcs[i - 1] > widest) widest = arcs[i] - arcs[i - 1], start = i;
  }
  return EdgePart{arcs[start], arcs[(start + n - 1) % n]};
}

std::string name_of_end(const CorrectionShell& shell, std::size_t piece, std::size_t facing, double arc_mm) {
  const solid::SolidBody own(shell.pieces[piece].solid);
  const auto [segment, t] = own.place_of_arc(arc_mm);
  const Vector3d at = own.arris_at(segment, t);
  std::string best;
  double nearest = kNearEnd_mm;
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    if (i == piece || i == facing || shell.pieces[i].solid.arris.empty()) continue;
    const auto hit = solid::SolidBody(shell.pieces[i].solid).nearest(at, nearest);
    if (hit && hit->distance_mm < nearest) nearest = hit->distance_mm, best = shell.pieces[i].label;
  }
  if (!best.empty()) return best;
  return at.z() < shell.pieces[piece].centroid.z() && shell.pieces[piece].ring == 1 ? "the rim"
                                                                                    : "the open side";
}

}  // namespace interstice::rework
