#include "rework/corrections.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "core/errors.h"
#include "rework/correction_edge.h"
#include "rework/correction_join.h"
#include "rework/correction_search.h"

namespace interstice::rework {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

std::string tenths(double x) {
  return fmt::format("{:.1f}", x);
}

Vector2d map_of(const CorrectionShell& shell, const solid::SolidBody& base, double arc) {
  const auto [segment, t] = base.place_of_arc(arc);
  return shell.form.locate(base.arris_at(segment, t)).uv;
}

// A throat this near to its mouth is not worth its own figure.
constexpr double kSameWidth_mm = 0.05;

// Pieces whose change turns out not to be needed are left alone.
void drop_needless(const CorrectionShell& shell, const ByPair<char>& given_up, LaidOut& out, int threads) {
  for (const PieceIndex i : shell.pieces.indices()) {
    if (out.change[i].is_none()) continue;
    LaidOut without = out;
    without.change[i] = {};
    bool needed = false;
    for (const PairIndex k : shell.pairs.indices()) {
      if (needed) break;
      const ShellPair& p = shell.pairs[k];
      if (p.a != i && p.b != i) continue;
      needed = missing_of(p, widths_after(shell, k, without.change), given_up[k] != 0).any();
    }
    if (needed) continue;
    out = std::move(without);
    measure(shell, out, threads);
  }
}

// The seams a piece's corrections free: those that had to rise, did, and would not have without them. Of steps that
// free none by themselves, the seams that they keep from becoming narrower.
std::vector<PairIndex> freed_by(const CorrectionShell& shell, const LaidOut& out, PieceIndex piece,
                                const PieceChange& without) {
  std::vector<PairIndex> freed, kept;
  ShellChange change = out.change;
  change[piece] = without;
  for (const PairIndex k : shell.pairs.indices()) {
    const ShellPair& p = shell.pairs[k];
    if ((p.a != piece && p.b != piece) || !out.after[k]) continue;
    const PairWidths then = widths_after(shell, k, change);
    if (p.must_rise && wide_enough(p, *out.after[k]) && !wide_enough(p, then)) freed.push_back(k);
    if (!p.must_rise && missing_of(p, then, false).any()) kept.push_back(k);
  }
  return freed.empty() ? kept : freed;
}

class Writer {
 public:
  Writer(const seams::FitDocument& fit, const CorrectionShell& shell, const CorrectionOptions& options,
         const LaidOut& out)
      : fit_(fit), shell_(shell), options_(options), out_(out) {}

  CorrectionResult write() const {
    CorrectionResult result;
    for (const PieceIndex piece : working_order()) write_piece(piece, result);
    for (const PairIndex k : shell_.pairs.indices()) {
      if (shell_.pairs[k].must_rise && !reached(k)) result.refused.push_back(refusal(k));
      if (!shell_.pairs[k].must_rise && !out_.after[k]) continue;
      result.seams.push_back(seam_after(k));
    }
    return result;
  }

 private:
  std::array<std::string, 2> labels(PairIndex k) const {
    return {shell_.pieces[shell_.pairs[k].a].label, shell_.pieces[shell_.pairs[k].b].label};
  }
  bool reached(PairIndex k) const { return wide_enough(shell_.pairs[k], after(k)); }
  PairWidths after(PairIndex k) const { return out_.after[k].value_or(widths_now(shell_.pairs[k])); }
  CorrectionResult::SeamAfter seam_after(PairIndex k) const {
    const ShellPair& p = shell_.pairs[k];
    const PairWidths widths = after(k);
    CorrectionResult::SeamAfter out{labels(k), p.now_mm, widths.mouth_mm, p.lower_mm, {},
                                    {},        {},       p.must_rise,     reached(k)};
    if (!std::isfinite(p.throat_lower_mm)) return out;
    out.throat_before_mm = p.throat_now_mm;
    out.throat_needed_mm = p.throat_lower_mm;
    if (std::isfinite(widths.throat_mm)) out.throat_after_mm = widths.throat_mm;
    return out;
  }
  double worth(PieceIndex piece) const {
    double sum = 0;
    for (const PairIndex k : freed_by(shell_, out_, piece, {})) {
      if (!shell_.pairs[k].must_rise) continue;
      const seams::FitSeam& seam = fit_.seams[*shell_.pairs[k].seam];
      sum += options_.seam_value.empty() ? seam.tight_length_mm + seam.pinched_length_mm
                                         : options_.seam_value[*shell_.pairs[k].seam];
    }
    return sum;
  }
  // A piece can be set where it belongs only once its neighbours have made room.
  bool has_room(PieceIndex piece, const ShellChange& done) const {
    ShellChange next = done;
    next[piece] = out_.change[piece];
    for (const PairIndex k : shell_.pairs.indices()) {
      const ShellPair& p = shell_.pairs[k];
      if ((p.a != piece && p.b != piece) || !shell_.pieces[p.a].measured || !shell_.pieces[p.b].measured)
        continue;
      const double before = mouth_after(shell_, k, done);
      if (mouth_after(shell_, k, next) < std::min(before - 0.02, 0.3)) return false;
    }
    return true;
  }
  std::vector<PieceIndex> working_order() const {
    std::vector<std::pair<double, PieceIndex>> left;
    for (const PieceIndex i : shell_.pieces.indices()) {
      if (!out_.change[i].is_none()) left.emplace_back(-worth(i), i);
    }
    std::sort(left.begin(), left.end());
    std::vector<PieceIndex> order;
    ShellChange done(shell_.pieces.size());
    while (!left.empty()) {
      auto next =
          std::find_if(left.begin(), left.end(), [&](const auto& p) { return has_room(p.second, done); });
      if (next == left.end()) next = left.begin();
      order.push_back(next->second);
      done[next->second] = out_.change[next->second];
      left.erase(next);
    }
    return order;
  }
  void add_freed(const std::vector<PairIndex>& pairs, seams::Correction& c) const {
    for (const PairIndex k : pairs) {
      const PairWidths& widths = *out_.after[k];
      const bool narrower =
          std::isfinite(widths.throat_mm) && widths.throat_mm < widths.mouth_mm - kSameWidth_mm;
      c.frees.push_back(
          {labels(k), widths.mouth_mm, narrower ? std::optional(widths.throat_mm) : std::nullopt});
    }
  }
  void write_piece(PieceIndex piece, CorrectionResult& result) const {
    const PieceChange& change = out_.change[piece];
    const solid::SolidBody base(shell_.pieces[piece].solid);
    ++result.pieces_touched;
    for (std::size_t i = 0; i < change.sanded.size(); ++i) {
      const SandedStretch& s = change.sanded[i];
      seams::Correction c;
      c.action = s.depth_mm > 0 ? seams::Correction::Action::sand : seams::Correction::Action::ease;
      c.angle_deg = s.ease_deg;
      c.tile = shell_.pieces[piece].label;
      c.facing = shell_.pieces[change.facing[i]].label;
      c.from = map_of(shell_, base, s.from_mm);
      c.to = map_of(shell_, base, s.to_mm);
      c.depth_mm = std::round(s.depth_mm * 10) / 10;
      c.length_mm = std::round(stretch_length(s, base.perimeter_mm()));
      PieceChange without = change;
      without.sanded.erase(without.sanded.begin() + static_cast<std::ptrdiff_t>(i));
      without.facing.erase(without.facing.begin() + static_cast<std::ptrdiff_t>(i));
      add_freed(freed_by(shell_, out_, piece, without), c);
      set_beginning(piece, change.facing[i], s, c);
      const double wall = shell_.pieces[piece].wall_mm;
      const double wedge = wall / 2 * std::tan(s.ease_deg * std::numbers::pi / 180);
      result.wood_mm3 += (c.depth_mm + wedge) * c.length_mm * wall;
      result.corrections.push_back(std::move(c));
    }
    if (change.move.is_zero()) return;
    seams::Correction c;
    c.action = seams::Correction::Action::move;
    c.tile = shell_.pieces[piece].label;
    c.along_mm = change.move.along_mm;
    c.towards_pole_mm = change.move.towards_pole_mm;
    c.turn_deg = change.move.turn_deg;
    PieceChange without = change;
    without.move = {};
    add_freed(freed_by(shell_, out_, piece, without), c);
    result.movement_mm += std::abs(c.along_mm) + std::abs(c.towards_pole_mm) +
                          std::abs(c.turn_deg) * std::numbers::pi / 180.0 * shell_.pieces[piece].rim_mm;
    result.corrections.push_back(std::move(c));
  }
  // Where along its edge a stretch begins: from the nearer end, which is named by the piece that meets the edge
  // there, or as the rim.
  void set_beginning(PieceIndex piece, PieceIndex facing, const SandedStretch& s,
                     seams::Correction& c) const {
    const auto edge = edge_facing(shell_, piece, facing);
    if (!edge) return;
    const double perimeter = solid::SolidBody(shell_.pieces[piece].solid).perimeter_mm();
    const auto ahead = [&](double from, double to) {
      const double d = to - from;
      return d - std::round(d / perimeter) * perimeter;
    };
    const double first = std::max(0.0, ahead(edge->from_mm, s.from_mm)),
                 last = std::max(0.0, ahead(s.to_mm, edge->to_mm));
    const bool from_first = first <= last;
    c.begin_mm = std::round(from_first ? first : last);
    c.begin_at = name_of_end(shell_, piece, facing, from_first ? edge->from_mm : edge->to_mm);
  }
  std::string refusal(PairIndex k) const {
    const ShellPair& p = shell_.pairs[k];
    const ShellPiece& a = shell_.pieces[p.a];
    const ShellPiece& b = shell_.pieces[p.b];
    const PairWidths widths = after(k);
    const double missing = std::max(p.lower_mm - widths.mouth_mm, p.throat_lower_mm - widths.throat_mm);
    const bool name_b =
        b.free != a.free ? b.free : b.ring > a.ring;  // the one set later comes off more easily
    const ShellPiece& cut = name_b ? b : a;
    const ShellPiece& kept = name_b ? a : b;
    const std::string recut = "recut it " + tenths(std::ceil(missing * 10 - 1e-6) / 10) +
                              " mm narrower on the side of " + kept.label;
    if (!a.free && !b.free)
      return "both " + cut.label + " and " + kept.label + " are locked; unlock one, or take " + cut.label +
             " out and " + recut;
    if (options_.glued) {
      return "sanding up to " + tenths(options_.max_sand_mm) + " mm does not free " + cut.label +
             ", which is glued; " + recut;
    }
    return "no move frees " + cut.label + "; " + recut;
  }

  const seams::FitDocument& fit_;
  const CorrectionShell& shell_;
  const CorrectionOptions& options_;
  const LaidOut& out_;
};

void check_range(const char* option, double value, double low, double high) {
  if (std::isfinite(value) && value >= low && value <= high) return;
  throw core::InputError(std::string(option) + ": " + tenths(value) + " is not within " + tenths(low) +
                         " to " + tenths(high));
}

}  // namespace

void CorrectionOptions::check(const seams::FitDocument& fit) const {
  check_range("largest move in mm", max_move_mm, 0, 10);
  check_range("largest turn in degrees", max_turn_deg, 0, 10);
  check_range("deepest sanding in mm", max_sand_mm, 0, 10);
  check_range("widest seam in mm", limit_mm, fit.smallest_fill_mm, 100);
  if (!seam_value.empty() && seam_value.size() != fit.seams.size()) {
    throw std::invalid_argument("corrections: one value a seam is needed");
  }
  std::set<std::string> known;
  for (const seams::FitTile& t : fit.tiles) known.insert(t.label);
  for (const std::string& label : locked) {
    if (!known.contains(label))
      throw core::InputError("locked piece \"" + core::one_line(label, 40) +
                             "\": the plan has no such piece");
  }
}

CorrectionResult propose_corrections(const seams::FitDocument& fit, const plan::Plan& plan,
                                     const CorrectionOptions& options) {
  options.check(fit);
  const CorrectionShell shell = make_shell(fit, plan, options);
  if (std::none_of(shell.pairs.begin(), shell.pairs.end(), [](const ShellPair& p) { return p.must_rise; }))
    return {};
  Outcome out = search_corrections(shell, options);
  drop_needless(shell, out.given_up, out.layout, options.threads);
  join_strokes(shell, out.given_up, options.threads, out.layout);
  CorrectionResult result = Writer(fit, shell, options, out.layout).write();
  result.proved_fewest = out.proved;
  result.pieces_at_least = out.at_least;
  return result;
}

void put_corrections(CorrectionResult work, seams::FitDocument& fit) {
  fit.corrections = std::move(work.corrections);
  fit.corrections_refused = std::move(work.refused);
  if (!work.proved_fewest) {
    std::string warning =
        "the search for the least work was stopped at its limit: the work order does what it says, but fewer "
        "pieces may do";
    if (work.pieces_at_least > 0)
      warning += " (" + std::to_string(work.pieces_touched) + " are touched; fewer than " +
                 std::to_string(work.pieces_at_least) + " can not do)";
    fit.warnings.push_back(warning);
  }
}

}  // namespace interstice::rework
