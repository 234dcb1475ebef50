#include "rework/correction_edge.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "seams/seam_ends.h"

namespace interstice::rework {
std::optional<EdgePart> edge_facing(const CorrectionShell& shell, PieceIndex piece, PieceIndex facing) {
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

std::string name_of_end(const CorrectionShell& shell, PieceIndex piece, PieceIndex facing, double arc_mm) {
  const solid::SolidBody own(shell.pieces[piece].solid);
  const auto [segment, t] = own.place_of_arc(arc_mm);
  seams::EndPieces pieces;
  for (const ShellPiece& p : shell.pieces) pieces.push_back({&p.label, p.ring, &p.solid.arris});
  return seams::name_of_end(pieces, geometry::TileIndex(piece.value), geometry::TileIndex(facing.value),
                            own.arris_at(segment, t));
}

}  // namespace interstice::rework
