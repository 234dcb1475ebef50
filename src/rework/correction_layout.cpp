#include "rework/correction_layout.h"

#include <algorithm>
#include <cmath>

#include "core/parallel.h"

namespace interstice::rework {
namespace {

using Eigen::Vector3d;

constexpr double kTenth = 0.1;
constexpr double kPad = 0.5;       // a step of the seam to each side of the short places
constexpr double kMergeGap = 4.0;  // stretches nearer than this are one
constexpr double kShortest = 4.0;  // nobody sands less of an edge
constexpr double kEnough = 1e-9;

double up_to_tenth(double x) {
  return std::ceil(x / kTenth - 1e-6) * kTenth;
}

// A place on a piece where the seam is short, as arc length on the outline, and the depth that would mend it.
struct ShortPlace {
  double arc_mm, depth_mm;
};

std::vector<ShortPlace> short_places(const CorrectionShell& shell, const ShellPair& pair, std::size_t side,
                                     const std::array<const solid::SolidBody*, 2>& body) {
  std::vector<ShortPlace> out;
  const ShellPiece& piece = shell.pieces[side == 0 ? pair.a : pair.b];
  const std::vector<Vector3d> inward =
      solid::inward_steps(body[side]->solid().face, body[side]->solid().arris);
  const solid::SolidBody base(piece.solid);
  for (const solid::MouthSample& m :
       solid::mouth_along(*body[0], *body[1], {.limit_mm = pair.lower_mm - pair.offset_mm + 1})) {
    const double width = m.width_mm + pair.offset_mm;
    if (width >= pair.lower_mm - kEnough) continue;
    const bool own = static_cast<std::size_t>(m.from) == side;
    const std::size_t i = own ? m.segment : m.to_segment;
    const double t = own ? m.t : m.to_t;
    const Vector3d towards = (side == 0 ? -1.0 : 1.0) * (m.on_b - m.on_a);
    const Vector3d off = (1 - t) * inward[i] + t * inward[(i + 1) % inward.size()];
    const double gain = std::abs(m.width_mm) > 1e-6 ? towards.dot(off) / m.width_mm : 1.0;
    // At corners the neighbour lies aslant; below a third of full gain other places of the edge decide.
    out.push_back({base.arc_at(i, t), (pair.lower_mm - width) / std::clamp(gain, 0.33, 1.0)});
  }
  return out;
}

double ahead(double from, double to, double perimeter) {
  const double d = to - from;
  return d - std::floor(d / perimeter) * perimeter;
}

// Runs of short places, each with the depth of its worst; whole millimetres long.
std::vector<SandedStretch> stretches_of(std::vector<ShortPlace> places, double perimeter) {
  std::vector<SandedStretch> out;
  if (places.empty()) return out;
  std::sort(places.begin(), places.end(), [](const auto& a, const auto& b) { return a.arc_mm < b.arc_mm; });
  // Start after the widest hole, so that a run over the first vertex stays whole.
  std::size_t start = 0;
  double widest = -1;
  for (std::size_t i = 0; i < places.size(); ++i) {
    const double hole =
        ahead(places[(i + places.size() - 1) % places.size()].arc_mm, places[i].arc_mm, perimeter);
    if (hole > widest) widest = hole, start = i;
  }
  for (std::size_t k = 0; k < places.size(); ++k) {
    const ShortPlace& p = places[(start + k) % places.size()];
    if (k > 0 && ahead(out.back().to_mm, p.arc_mm, perimeter) <= kMergeGap) {
      out.back().to_mm = p.arc_mm;
      out.back().depth_mm = std::max(out.back().depth_mm, p.depth_mm);
    } else {
      out.push_back({p.arc_mm, p.arc_mm, p.depth_mm});
    }
  }
  for (SandedStretch& s : out) {
    const double length = stretch_length(s, perimeter),
                 whole = std::max(kShortest, std::ceil(length + 2 * kPad));
    s.from_mm -= (whole - length) / 2;
    s.to_mm += (whole - length) / 2;
    s.depth_mm = up_to_tenth(s.depth_mm);
  }
  return out;
}

// Adds a stretch to those of one edge; where it meets one that is there, that one is lengthened and deepened.
void add_stretch(PieceChange& change, std::size_t facing, const SandedStretch& added, double perimeter,
                 double deepest) {
  for (std::size_t i = 0; i < change.sanded.size(); ++i) {
    if (change.facing[i] != facing) continue;
    SandedStretch& s = change.sanded[i];
    const double own = stretch_length(s, perimeter), other = stretch_length(added, perimeter);
    double begin = added.from_mm - s.from_mm;
    begin -= std::round(begin / perimeter) * perimeter;
    if (begin > own + kMergeGap || begin + other < -kMergeGap) continue;
    // The added depth is what is short with the old stretch in place: at the added stretch's nearest end, the
    // old one has taken its depth or, in the run-out, a share of it.
    const double nearest = std::clamp(0.0, begin, begin + other);
    const double taken = s.depth_mm * sanding_weight(s, s.from_mm + nearest, perimeter);
    const double from = std::min(0.0, begin), to = std::max(own, begin + other);
    s = {s.from_mm + from, s.from_mm + from + std::ceil(to - from - 1e-6),
         std::min(deepest, up_to_tenth(std::max(s.depth_mm, taken + added.depth_mm)))};
    return;
  }
  change.sanded.push_back(added);
  change.sanded.back().depth_mm = std::min(added.depth_mm, deepest);
  change.facing.push_back(facing);
}

double deepest_of(const PieceChange& change, std::size_t facing) {
  double depth = 0;
  for (std::size_t i = 0; i < change.sanded.size(); ++i) {
    if (change.facing[i] == facing) depth = std::max(depth, change.sanded[i].depth_mm);
  }
  return depth;
}

// Sands one edge of a pair until the pair is wide enough or the edge may not lose more.
void sand_edge(const CorrectionShell& shell, const CorrectionOptions& options, std::size_t k,
               std::size_t side, ShellChange& change) {
  const ShellPair& pair = shell.pairs[k];
  const std::array<std::size_t, 2> piece{pair.a, pair.b};
  const std::size_t own = piece[side], other = piece[1 - side];
  const solid::SolidBody fixed(changed_piece(shell, other, change[other]));
  for (int round = 0; round < 15; ++round) {
    const solid::SolidBody body(changed_piece(shell, own, change[own]));
    const std::array<const solid::SolidBody*, 2> both{side == 0 ? &body : &fixed, side == 0 ? &fixed : &body};
    const double perimeter = solid::SolidBody(shell.pieces[own].solid).perimeter_mm();
    const auto wanted = stretches_of(short_places(shell, pair, side, both), perimeter);
    if (wanted.empty()) return;
    const ShellChange before = change;
    for (const SandedStretch& s : wanted) add_stretch(change[own], other, s, perimeter, options.max_sand_mm);
    if (deepest_of(change[own], other) >= options.max_sand_mm - 1e-9 &&
        deepest_of(before[own], other) >= options.max_sand_mm - 1e-9) {
      return;
    }
  }
}

}  // namespace

double rounded_tenth(double x) {
  const double r = std::round(x / kTenth) * kTenth;
  return std::abs(r) < kTenth / 2 ? 0.0 : std::round(r * 10) / 10;
}

std::optional<double> width_after(const CorrectionShell& shell, std::size_t k, const ShellChange& change) {
  const ShellPair& pair = shell.pairs[k];
  const solid::SolidBody a(changed_piece(shell, pair.a, change[pair.a])),
      b(changed_piece(shell, pair.b, change[pair.b]));
  const auto summary = solid::summarise_mouth(solid::mouth_along(a, b, {.limit_mm = shell.reach_mm}), 1.0);
  if (!summary) return std::nullopt;
  return summary->narrowest_mm + pair.offset_mm;
}

void measure(const CorrectionShell& shell, LaidOut& out, int threads) {
  out.after_mm.assign(shell.pairs.size(), std::nullopt);
  core::parallel_for(shell.pairs.size(), threads, [&](std::size_t k) {
    if (out.change[shell.pairs[k].a].is_none() && out.change[shell.pairs[k].b].is_none()) return;
    out.after_mm[k] = width_after(shell, k, out.change).value_or(shell.reach_mm);
  });
}

LaidOut lay_out(const CorrectionShell& shell, const CorrectionOptions& options,
                const CorrectionChoice& choice, bool anywhere) {
  LaidOut out;
  out.change.resize(shell.pieces.size());
  for (std::size_t i = 0; i < shell.pieces.size(); ++i) {
    if (!choice.touched[i]) continue;
    const Move& m = choice.moves[i];
    out.change[i].move = {rounded_tenth(m.along_mm), rounded_tenth(m.towards_pole_mm),
                          rounded_tenth(m.turn_deg)};
  }
  for (std::size_t k = 0; k < shell.pairs.size(); ++k) {
    const ShellPair& pair = shell.pairs[k];
    if (!shell.pieces[pair.a].measured || !shell.pieces[pair.b].measured || choice.given_up[k]) continue;
    const auto& depth = choice.depth[k];
    const std::size_t first = depth[1] > depth[0] ? 1 : 0;
    for (const std::size_t side : {first, 1 - first}) {
      const bool touched = choice.touched[side == 0 ? pair.a : pair.b] != 0;
      if (touched && (anywhere || depth[side] > 1e-3)) sand_edge(shell, options, k, side, out.change);
    }
  }
  measure(shell, out, options.threads);
  return out;
}

std::vector<Shortfall> shortfalls(const CorrectionShell& shell, const LaidOut& out,
                                  const std::vector<char>& given_up) {
  std::vector<Shortfall> found;
  for (std::size_t k = 0; k < shell.pairs.size(); ++k) {
    const ShellPair& pair = shell.pairs[k];
    const double width = out.after_mm[k].value_or(pair.now_mm);
    if (!out.after_mm[k] && (!pair.must_rise || given_up[k])) continue;
    const double lower = given_up[k] ? std::min(pair.lower_mm, pair.now_mm - 0.02) : pair.lower_mm;
    const double below = lower - width, above = width - pair.upper_mm;
    if (below > 1e-6 || above > 1e-6) found.push_back({k, std::max(0.0, below), std::max(0.0, above)});
  }
  return found;
}

}  // namespace interstice::rework
