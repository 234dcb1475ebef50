#include "rework/correction_layout.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/parallel.h"
#include "rework/correction_memo.h"
#include "solid/throat.h"

namespace interstice::rework {
namespace {

using Eigen::Vector3d;

constexpr double kTenth = 0.1;
constexpr double kPad = 0.5;       // a step of the seam to each side of the short places
constexpr double kShortest = 4.0;  // nobody sands less of an edge
// Stretches whose run-outs leave less than a shortest stretch between them are one.
constexpr double kMergeGap = 2 * kRunOutMm + kShortest;
constexpr double kEnough = 1e-9;
// Less does not show on a rule or a bevel gauge (common practice, no source).
constexpr double kLeastSanding_mm = 0.2, kLeastEasing_deg = 1;
constexpr double kEaseStep_deg = 0.5,
                 kMostEase_deg = 10;       // what a bevel gauge shows; more leaves a knife edge
constexpr double kLeastEasedShare = 0.25;  // of the wall's height: nearer to the face easing does little

// What is taken off a stretch of an edge: the whole wall by a depth, or its foot by an angle.
struct Work {
  double SandedStretch::*amount;
  double step;     // amounts are multiples of it
  double least;    // what can be told at the bench, and no less than what is known of the width
  double deepest;  // at most this of it
};

double up_to_step(double x, double step) {
  return std::ceil(x / step - 1e-6) * step;
}

Work sanding(const CorrectionOptions& options, const ShellPair& pair) {
  const double least = up_to_step(std::max(kLeastSanding_mm, pair.u95_mm), kTenth);
  return {&SandedStretch::depth_mm, kTenth, std::min(least, options.max_sand_mm), options.max_sand_mm};
}
Work easing(const CorrectionShell& shell, const ShellPair& pair) {
  const double wall_mm = std::max(1.0, std::min(shell.pieces[pair.a].wall_mm, shell.pieces[pair.b].wall_mm));
  const double known_deg = std::atan(pair.throat_u95_mm / wall_mm) * 180 / std::numbers::pi;
  const double least = up_to_step(std::max(kLeastEasing_deg, known_deg), kEaseStep_deg);
  return {&SandedStretch::ease_deg, kEaseStep_deg, std::min(least, kMostEase_deg), kMostEase_deg};
}

// A place on a piece where the seam is short, as arc length on the outline, and the amount that would mend it.
struct ShortPlace {
  double arc_mm, amount;
};

// How a place of the seam answers to work on one side: the way inward at its outline, and how much of that counts.
double gain_of(const Vector3d& from_a_to_b, double width, std::size_t side, const Vector3d& inward) {
  const Vector3d towards = (side == 0 ? -1.0 : 1.0) * from_a_to_b;
  const double gain = std::abs(width) > 1e-6 ? towards.dot(inward) / width : 1.0;
  // At corners the neighbour lies aslant; below a third of full gain other places of the edge decide.
  return std::clamp(gain, 0.33, 1.0);
}

Vector3d inward_at(const std::vector<Vector3d>& inward, std::size_t i, double t) {
  return (1 - t) * inward[i % inward.size()] + t * inward[(i + 1) % inward.size()];
}

// One side of a pair as it stands, with what is needed to find where it is short.
struct Side {
  const CorrectionShell& shell;
  const ShellPair& pair;
  std::size_t side;
  std::array<const solid::SolidBody*, 2> body;
  PieceIndex piece() const { return side == 0 ? pair.a : pair.b; }
};

void add_short_mouths(const Side& s, const std::vector<solid::MouthSample>& mouths,
                      const std::vector<Vector3d>& inward, std::vector<ShortPlace>& out) {
  const solid::SolidBody base(s.shell.pieces[s.piece()].solid);
  for (const solid::MouthSample& m : mouths) {
    const double width = m.width_mm + s.pair.offset_mm;
    if (width >= s.pair.lower_mm - kEnough) continue;
    const bool own = static_cast<std::size_t>(m.from) == s.side;
    const std::size_t i = own ? m.segment : m.to_segment;
    const double t = own ? m.t : m.to_t;
    const double gain = gain_of(m.on_b - m.on_a, m.width_mm, s.side, inward_at(inward, i, t));
    out.push_back({base.arc_at(i, t), (s.pair.lower_mm - width) / gain});
  }
}

// Throats that are short: those far enough down a wall can be eased, as an angle; the others need the whole wall
// taken back.
void add_short_throats(const Side& s, const std::vector<solid::MouthSample>& mouths,
                       const std::vector<Vector3d>& inward, bool by_easing, std::vector<ShortPlace>& out) {
  if (!std::isfinite(s.pair.throat_lower_mm)) return;
  const solid::SolidBody base(s.shell.pieces[s.piece()].solid);
  const std::array<solid::SolidBody, 2> kept{kept_body(s.shell, s.pair.a, s.body[0]->solid()),
                                             kept_body(s.shell, s.pair.b, s.body[1]->solid())};
  const auto short_at = [&](const solid::Throat& throat) {
    const double width = throat.width_mm + s.pair.throat_offset_mm;
    if (width >= s.pair.throat_lower_mm - kEnough) return;
    const std::size_t i = s.side == 0 ? throat.segment_a : throat.segment_b;
    const double t = s.side == 0 ? throat.t_a : throat.t_b;
    const double gain = gain_of(throat.on_b - throat.on_a, throat.width_mm, s.side, inward_at(inward, i, t));
    const double share = depth_share(*s.body[s.side], i, s.side == 0 ? throat.on_a : throat.on_b);
    const double missing = (s.pair.throat_lower_mm - width) / gain;
    if (by_easing && share >= kLeastEasedShare) {
      const WallShape wall = wall_shape(s.body[s.side]->solid(), inward, i);
      out.push_back({base.arc_at(i, t), ease_for_foot_deg(wall, missing / share)});
    } else if (!by_easing) {
      out.push_back({base.arc_at(i, t), missing});
    }
  };
  for (const auto& throat : solid::throats_along(kept[0], kept[1], mouths)) {
    if (throat) short_at(*throat);
  }
  if (const auto throat = solid::throat_of(kept[0], kept[1])) short_at(*throat);
}

enum class Throats { left, sanded, eased };

std::vector<ShortPlace> short_places(const Side& s, bool mouths_too, Throats throats) {
  std::vector<ShortPlace> out;
  const std::vector<Vector3d> inward =
      solid::inward_steps(s.body[s.side]->solid().face, s.body[s.side]->solid().arris);
  // Throats lie below mouths that may be wider by what walls can lean.
  const double limit =
      throats == Throats::left ? s.pair.lower_mm - s.pair.offset_mm + 1 : core::kWidestSeam_mm;
  const auto mouths = solid::mouth_along(*s.body[0], *s.body[1], {.limit_mm = limit});
  if (mouths_too) add_short_mouths(s, mouths, inward, out);
  if (throats != Throats::left) add_short_throats(s, mouths, inward, throats == Throats::eased, out);
  return out;
}

double ahead(double from, double to, double perimeter) {
  const double d = to - from;
  return d - std::floor(d / perimeter) * perimeter;
}

// Runs of short places, each with the amount of its worst; whole millimetres long.
std::vector<SandedStretch> stretches_of(std::vector<ShortPlace> places, double perimeter, const Work& work) {
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
      out.back().*work.amount = std::max(out.back().*work.amount, p.amount);
    } else {
      out.push_back({p.arc_mm, p.arc_mm});
      out.back().*work.amount = p.amount;
    }
  }
  for (SandedStretch& s : out) {
    const double length = stretch_length(s, perimeter),
                 whole = std::max(kShortest, std::ceil(length + 2 * kPad));
    s.from_mm -= (whole - length) / 2;
    s.to_mm += (whole - length) / 2;
    s.*work.amount = std::max(work.least, up_to_step(s.*work.amount, work.step));
  }
  return out;
}

// Adds a stretch to those of one edge; where it meets one that is there, that one is lengthened and deepened.
void add_stretch(PieceChange& change, PieceIndex facing, const SandedStretch& added, double perimeter,
                 const Work& work) {
  for (std::size_t i = 0; i < change.sanded.size(); ++i) {
    if (change.facing[i] != facing || change.sanded[i].*work.amount <= 0) continue;
    SandedStretch& s = change.sanded[i];
    const double own = stretch_length(s, perimeter), other = stretch_length(added, perimeter);
    double begin = added.from_mm - s.from_mm;
    begin -= std::round(begin / perimeter) * perimeter;
    if (begin > own + kMergeGap || begin + other < -kMergeGap) continue;
    // The added depth is what is short with the old stretch in place: at the added stretch's nearest end, the
    // old one has taken its depth or, in the run-out, a share of it.
    const double nearest = std::clamp(0.0, begin, begin + other);
    const double taken = s.*work.amount * sanding_weight(s, s.from_mm + nearest, perimeter);
    const double from = std::min(0.0, begin), to = std::max(own, begin + other);
    const double amount = std::max(s.*work.amount, taken + added.*work.amount);
    s.from_mm += from;
    s.to_mm = s.from_mm + std::ceil(to - from - 1e-6);
    s.*work.amount = std::min(work.deepest, up_to_step(amount, work.step));
    return;
  }
  change.sanded.push_back(added);
  change.sanded.back().*work.amount = std::min(added.*work.amount, work.deepest);
  change.facing.push_back(facing);
}

double deepest_of(const PieceChange& change, PieceIndex facing, const Work& work) {
  double most = 0;
  for (std::size_t i = 0; i < change.sanded.size(); ++i) {
    if (change.facing[i] == facing) most = std::max(most, change.sanded[i].*work.amount);
  }
  return most;
}

// Works on one edge of a pair until the pair is wide enough or the edge may not lose more; the piece's change.
PieceChange work_edge(const Side& s, const solid::SolidBody& fixed, const Work& work, Throats throats,
                      PieceIndex facing, PieceChange change) {
  const double perimeter = solid::SolidBody(s.shell.pieces[s.piece()].solid).perimeter_mm();
  for (int round = 0; round < 15; ++round) {
    const solid::SolidBody body(changed_piece(s.shell, s.piece(), change));
    const std::array<const solid::SolidBody*, 2> both{s.side == 0 ? &body : &fixed,
                                                      s.side == 0 ? &fixed : &body};
    const auto wanted = stretches_of(
        short_places({s.shell, s.pair, s.side, both}, throats != Throats::eased, throats), perimeter, work);
    if (wanted.empty()) break;
    const double before = deepest_of(change, facing, work);
    for (const SandedStretch& w : wanted) add_stretch(change, facing, w, perimeter, work);
    if (before >= work.deepest - 1e-9) break;
  }
  return change;
}

void work_edge(const CorrectionShell& shell, PairIndex k, std::size_t side, const Work& work, Throats throats,
               ShellChange& change) {
  const ShellPair& pair = shell.pairs[k];
  const PieceIndex own = side == 0 ? pair.a : pair.b, other = side == 0 ? pair.b : pair.a;
  MemoKey key{static_cast<double>(k.value), static_cast<double>(side), work.step,
              static_cast<double>(throats)};
  append(change[own], key);
  append(change[other], key);
  change[own] = shell.memo->worked(key, [&] {
    const solid::SolidBody fixed(changed_piece(shell, other, change[other]));
    return work_edge({shell, pair, side, {}}, fixed, work, throats, other, change[own]);
  });
}

PairWidths widths_between(const CorrectionShell& shell, const ShellPair& pair, const PieceChange& of_a,
                          const PieceChange& of_b) {
  const solid::PieceSolid a = changed_piece(shell, pair.a, of_a), b = changed_piece(shell, pair.b, of_b);
  const solid::MouthOptions options{.limit_mm = shell.reach_mm};
  const auto summary =
      solid::summarise_mouth(solid::mouth_along(solid::SolidBody(a), solid::SolidBody(b), options), 1.0);
  PairWidths out{shell.reach_mm, std::numeric_limits<double>::infinity()};
  if (summary) out.mouth_mm = summary->narrowest_mm + pair.offset_mm;
  if (!summary || !std::isfinite(pair.throat_lower_mm)) return out;
  if (const auto throat = solid::throat_of(kept_body(shell, pair.a, a), kept_body(shell, pair.b, b), options))
    out.throat_mm = throat->width_mm + pair.throat_offset_mm;
  return out;
}

}  // namespace

double rounded_tenth(double x) {
  const double r = std::round(x / kTenth) * kTenth;
  return std::abs(r) < kTenth / 2 ? 0.0 : std::round(r * 10) / 10;
}

PairWidths widths_after(const CorrectionShell& shell, PairIndex k, const ShellChange& change) {
  const ShellPair& pair = shell.pairs[k];
  MemoKey key{static_cast<double>(k.value)};
  append(change[pair.a], key);
  append(change[pair.b], key);
  return shell.memo->widths(key, [&] { return widths_between(shell, pair, change[pair.a], change[pair.b]); });
}

double mouth_after(const CorrectionShell& shell, PairIndex k, const ShellChange& change) {
  return widths_after(shell, k, change).mouth_mm;
}

PairWidths widths_now(const ShellPair& pair) {
  return {pair.now_mm,
          std::isfinite(pair.throat_lower_mm) ? pair.throat_now_mm : std::numeric_limits<double>::infinity()};
}

void measure(const CorrectionShell& shell, LaidOut& out, int threads) {
  out.after.assign(shell.pairs.size(), std::nullopt);
  core::parallel_for(shell.pairs.size(), threads, [&](std::size_t i) {
    const PairIndex k(i);
    if (out.change[shell.pairs[k].a].is_none() && out.change[shell.pairs[k].b].is_none()) return;
    out.after[k] = widths_after(shell, k, out.change);
  });
}

LaidOut lay_out(const CorrectionShell& shell, const CorrectionOptions& options,
                const CorrectionChoice& choice, bool anywhere) {
  LaidOut out;
  out.change.resize(shell.pieces.size());
  for (const PieceIndex i : shell.pieces.indices()) {
    if (!choice.touched[i]) continue;
    const Move& m = choice.moves[i];
    out.change[i].move = {rounded_tenth(m.along_mm), rounded_tenth(m.towards_pole_mm),
                          rounded_tenth(m.turn_deg)};
  }
  for (const PairIndex k : shell.pairs.indices()) {
    const ShellPair& pair = shell.pairs[k];
    if (!shell.pieces[pair.a].measured || !shell.pieces[pair.b].measured || choice.given_up[k]) continue;
    const auto& depth = choice.depth[k];
    const std::size_t first = depth[1] > depth[0] ? 1 : 0;
    for (const std::size_t side : {first, 1 - first}) {
      const bool touched = choice.touched[side == 0 ? pair.a : pair.b] != 0;
      if (!touched) continue;
      const bool eases = options.ease && (anywhere || choice.foot[k][side] > 1e-3);
      // What a wall is not to be eased for is mended by taking it back.
      if (anywhere || depth[side] > 1e-3)
        work_edge(shell, k, side, sanding(options, pair), eases ? Throats::left : Throats::sanded,
                  out.change);
      if (!eases) continue;
      work_edge(shell, k, side, easing(shell, pair), Throats::eased, out.change);
      // What is too near to the face for easing, or more than it can give.
      work_edge(shell, k, side, sanding(options, pair), Throats::sanded, out.change);
    }
  }
  measure(shell, out, options.threads);
  return out;
}

std::vector<Shortfall> shortfalls(const CorrectionShell& shell, const LaidOut& out,
                                  const ByPair<char>& given_up) {
  std::vector<Shortfall> found;
  for (const PairIndex k : shell.pairs.indices()) {
    const ShellPair& pair = shell.pairs[k];
    if (!out.after[k] && (!pair.must_rise || given_up[k])) continue;
    const Missing missing = missing_of(pair, out.after[k].value_or(widths_now(pair)), given_up[k] != 0);
    if (missing.any()) found.push_back({k, missing});
  }
  return found;
}

}  // namespace interstice::rework
