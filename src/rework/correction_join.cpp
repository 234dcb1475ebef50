#include "rework/correction_join.h"

#include <algorithm>
#include <cmath>

namespace interstice::rework {
namespace {

constexpr double kLeastShare = 2.0 / 3;

// One stretch over both, if the shorter is so much of it.
std::optional<SandedStretch> joined(const SandedStretch& a, const SandedStretch& b, double perimeter) {
  const double length_a = stretch_length(a, perimeter), length_b = stretch_length(b, perimeter);
  double begin = b.from_mm - a.from_mm;
  begin -= std::round(begin / perimeter) * perimeter;
  const double from = std::min(0.0, begin), to = std::max(length_a, begin + length_b);
  if (std::min(length_a, length_b) < kLeastShare * (to - from) - 1e-9) return std::nullopt;
  return SandedStretch{a.from_mm + from, a.from_mm + to, std::max(a.depth_mm, b.depth_mm),
                       std::max(a.ease_deg, b.ease_deg)};
}

// The first pair of a piece's stretches that can be one; its change with them joined.
std::optional<PieceChange> with_one_joined(const PieceChange& change, double perimeter, std::size_t& from) {
  for (std::size_t i = from; i < change.sanded.size(); ++i) {
    for (std::size_t j = i + 1; j < change.sanded.size(); ++j) {
      const SandedStretch &a = change.sanded[i], &b = change.sanded[j];
      const bool kinds = (a.ease_deg > 0) != (b.ease_deg > 0) && (a.depth_mm > 0) != (b.depth_mm > 0);
      if (change.facing[i] != change.facing[j] || !kinds) continue;
      const auto one = joined(a, b, perimeter);
      if (!one) continue;
      PieceChange out = change;
      out.sanded[i] = *one;
      out.sanded.erase(out.sanded.begin() + static_cast<std::ptrdiff_t>(j));
      out.facing.erase(out.facing.begin() + static_cast<std::ptrdiff_t>(j));
      from = i + 1;
      return out;
    }
  }
  return std::nullopt;
}

}  // namespace

void join_strokes(const CorrectionShell& shell, const ByPair<char>& given_up, int threads, LaidOut& out) {
  bool any = false;
  for (const PieceIndex i : out.change.indices()) {
    if (out.change[i].sanded.size() < 2) continue;
    const double perimeter = solid::SolidBody(shell.pieces[i].solid).perimeter_mm();
    std::size_t from = 0;
    while (auto next = with_one_joined(out.change[i], perimeter, from)) {
      std::swap(out.change[i], *next);
      bool kept = true;
      for (const PairIndex k : shell.pairs.indices()) {
        if (!kept) break;
        const ShellPair& p = shell.pairs[k];
        if (p.a == i || p.b == i)
          kept = !missing_of(p, widths_after(shell, k, out.change), given_up[k] != 0).any();
      }
      if (!kept) std::swap(out.change[i], *next);
      any = any || kept;
    }
  }
  if (any) measure(shell, out, threads);
}

}  // namespace interstice::rework
