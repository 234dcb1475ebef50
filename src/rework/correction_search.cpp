#include "rework/correction_search.h"

#include <algorithm>
#include <optional>

namespace interstice::rework {
namespace {

constexpr int kRounds = 14;  // of choosing and laying out before pieces are taken back
constexpr int kAnywhere =
    6;  // from this round on, small shortfalls may be sanded off any edge of a touched piece
constexpr int kChooseEvery = 3;  // rounds after which other pieces are asked for
constexpr int kMorePieces = 4;   // rounds a seam may fail before both its pieces may be touched
constexpr int kPatience = 6;     // rounds a seam may fail before it is given up
constexpr double kExtra = 0.02;  // more margin than was missing, mm

class TakingBack {
 public:
  TakingBack(const CorrectionShell& shell, const CorrectionOptions& options)
      : shell_(shell), options_(options) {}

  Outcome operator()(Outcome out) const {
    for (;;) {
      const auto missed = shortfalls(shell_, out.layout, out.given_up);
      if (missed.empty()) return out;
      take_back(missed.front().pair, out);
      measure(shell_, out.layout, options_.threads);
    }
  }

 private:
  void take_back(PairIndex k, Outcome& out) const {
    const ShellPair& pair = shell_.pairs[k];
    std::optional<std::pair<double, ShellChange>> best;
    for (const std::vector<PieceIndex>& gone :
         {std::vector{pair.a}, std::vector{pair.b}, std::vector{pair.a, pair.b}}) {
      ShellChange change = out.layout.change;
      bool any = false;
      for (const PieceIndex piece : gone) any = any || !change[piece].is_none(), change[piece] = {};
      if (!any) continue;
      const double cost = lost_by(gone, change, out) + (misses(k, change) ? 1e6 : 0);
      if (!best || cost < best->first) best = {cost, std::move(change)};
    }
    if (best) out.layout.change = std::move(best->second);
    // Nothing left to take back, or not to be had without: given up.
    for (const PairIndex i : shell_.pairs.indices()) {
      const ShellPair& p = shell_.pairs[i];
      const bool near = p.a == pair.a || p.a == pair.b || p.b == pair.a || p.b == pair.b;
      if (p.must_rise && near && !wide_enough(p, widths_after(shell_, i, out.layout.change)))
        out.given_up[i] = 1;
    }
  }
  bool misses(PairIndex k, const ShellChange& change) const {
    return missing_of(shell_.pairs[k], widths_after(shell_, k, change), true).any();
  }
  // What the seams of these pieces that are too narrow under the change are worth.
  double lost_by(const std::vector<PieceIndex>& pieces, const ShellChange& change, const Outcome& out) const {
    double sum = 0;
    for (const PairIndex k : shell_.pairs.indices()) {
      const ShellPair& p = shell_.pairs[k];
      const bool near = std::find(pieces.begin(), pieces.end(), p.a) != pieces.end() ||
                        std::find(pieces.begin(), pieces.end(), p.b) != pieces.end();
      if (near && !(p.must_rise && out.given_up[k]) && !wide_enough(p, widths_after(shell_, k, change)))
        sum += p.value;
    }
    return sum;
  }

  const CorrectionShell& shell_;
  const CorrectionOptions& options_;
};

// Chooses, linearises again at the result, lays out in 3-D and checks; what is missed is asked for with a margin in the
// next round, of the pieces beside it and of more around them each time that does not do.
class Search {
 public:
  Search(const CorrectionShell& shell, const CorrectionOptions& options)
      : shell_(shell), options_(options), model_(shell, options), failed_(shell.pairs.size(), 0) {}

  Outcome run() {
    const ByPiece<Move> still(shell_.pieces.size());
    choice_ = model_.choose(still, false);
    const bool helpers = model_.helpers_may_free(choice_);
    if (helpers) choice_ = model_.choose(still, true);
    const ByPiece<char> all(shell_.pieces.size(), 1);
    choice_ = model_.in_tenths(model_.refine(model_.refine(choice_, all), all), all);
    std::optional<Outcome> nearest;
    std::size_t fewest = shell_.pairs.size() + 1;
    for (int round = 0; round < kRounds; ++round) {
      Outcome out{lay_out(shell_, options_, choice_, round >= kAnywhere), choice_.given_up, choice_.proved,
                  choice_.at_least};
      const auto missed = shortfalls(shell_, out.layout, out.given_up);
      if (missed.empty()) return out;
      learn(missed);
      if (missed.size() < fewest) fewest = missed.size(), nearest = std::move(out);
      ByPiece<char> open = beside(missed);
      if (round % kChooseEvery == kChooseEvery - 1) {
        model_.choose_again(helpers, open, choice_);
        choice_ = model_.refine(choice_, open);
      }
      choice_ = model_.in_tenths(model_.refine(choice_, open), open);
    }
    nearest->proved = false;
    return taken_back(shell_, options_, std::move(*nearest));
  }

 private:
  // The pieces of missed pairs, and as many rings of neighbours more as they have failed before.
  ByPiece<char> beside(const std::vector<Shortfall>& missed) {
    ByPiece<int> reach(shell_.pieces.size(), 0);
    for (const Shortfall& s : missed) {
      const ShellPair& pair = shell_.pairs[s.pair];
      for (const PieceIndex piece : {pair.a, pair.b}) {
        reach[piece] = std::max(reach[piece], failed_[s.pair]);
        if (failed_[s.pair] >= kMorePieces && shell_.pieces[piece].free && !choice_.touched[piece])
          choice_.touched[piece] = 1, choice_.proved = false;
      }
    }
    for (int ring = 1; ring < kPatience; ++ring) {
      const ByPiece<int> before = reach;
      for (const ShellPair& p : shell_.pairs) {
        reach[p.a] = std::max(reach[p.a], before[p.b] - 1);
        reach[p.b] = std::max(reach[p.b], before[p.a] - 1);
      }
    }
    ByPiece<char> open(shell_.pieces.size(), 0);
    for (const PieceIndex i : open.indices()) open[i] = reach[i] > 0;
    return open;
  }
  void learn(const std::vector<Shortfall>& missed) {
    for (const Shortfall& s : missed) {
      const Missing& m = s.missing;
      if (m.mouth_mm > 0) model_.lower_margin_mm[s.pair] += m.mouth_mm + kExtra;
      if (m.throat_mm > 0) model_.throat_margin_mm[s.pair] += m.throat_mm + kExtra;
      if (m.above_mm > 0) model_.upper_margin_mm[s.pair] += m.above_mm + kExtra;
      if (++failed_[s.pair] >= kPatience && shell_.pairs[s.pair].must_rise) {
        model_.forced_up[s.pair] = 1;
        choice_.given_up[s.pair] = 1;
      }
    }
  }

  const CorrectionShell& shell_;
  const CorrectionOptions& options_;
  CorrectionModel model_;
  CorrectionChoice choice_;
  ByPair<int> failed_;
};

}  // namespace

Outcome taken_back(const CorrectionShell& shell, const CorrectionOptions& options, Outcome out) {
  return TakingBack(shell, options)(std::move(out));
}

Outcome search_corrections(const CorrectionShell& shell, const CorrectionOptions& options) {
  return Search(shell, options).run();
}

}  // namespace interstice::rework
