// The choice of pieces, moves and depths by mixed-integer programs on linear widths.
#pragma once

#include <array>
#include <set>
#include <utility>
#include <vector>

#include "rework/correction_linear.h"
#include "rework/milp.h"

namespace interstice::rework {

struct CorrectionChoice {
  ByPiece<char> touched;
  ByPiece<Move> moves;
  ByPair<std::array<double, 2>> depth;  // off a's edge, off b's edge
  ByPair<std::array<double, 2>> foot;   // what easing takes off the foot of either wall, mm
  ByPair<char> given_up;
  std::size_t at_least =
      0;  // pieces that have to be touched for what is not given up, in the linear model; 0: not known
  bool proved = true;  // no fewer seams given up, and for that no fewer pieces touched, in the linear model
};

class CorrectionModel {
 public:
  CorrectionModel(const CorrectionShell& shell, const CorrectionOptions& options);

  // Extra width asked of a pair (against rounding and the linear model's error), and less room upward.
  ByPair<double> lower_margin_mm, throat_margin_mm, upper_margin_mm;
  ByPair<char> forced_up;  // pairs not to be tried any more

  // Which pieces to touch, and how, linearised at the given moves. Only pieces next to a seam that has to
  // rise come into question, and with helpers also their neighbours. Doing nothing and giving up every seam
  // is always among the solutions, whatever the margins.
  CorrectionChoice choose(const ByPiece<Move>& at, bool helpers);
  // The same for those small parts of the shell, with margins as they are now, that have open pieces; marks all pieces
  // of such parts as open.
  void choose_again(bool helpers, ByPiece<char>& open, CorrectionChoice& choice);
  // Whether with helpers a seam might be had that this choice, made without, gives up.
  bool helpers_may_free(const CorrectionChoice& choice);
  // The least work with the same pieces and seams given up, linearised at the choice's moves; counts the
  // edges and moves set about too. Only the open pieces may change; their touched neighbours are held where
  // they are. Keeps a part of the choice that has no solution.
  CorrectionChoice refine(const CorrectionChoice& choice, const ByPiece<char>& open);
  // The same with each move a multiple of 0.1, moves that are not made left out, and if that can be the same
  // edges.
  CorrectionChoice in_tenths(const CorrectionChoice& choice, const ByPiece<char>& open);

 private:
  struct Part;  // a connected part of the shell as a program
  std::vector<std::vector<PieceIndex>> connected(const ByPiece<char>& candidates) const;
  const LinearPair& linear(PairIndex pair, const ByPiece<Move>& at);
  struct Fewest;  // which pieces, and which seams are given up
  // What is taken off an edge: one depth, or one at each step along it (dearer to solve, truer in work).
  enum class Detail { edges, steps };
  Part build(const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at, Detail detail);
  void add_pair(PairIndex pair, const ByPiece<Move>& at, Part& part);
  Part settled(const std::vector<PieceIndex>& pieces, const CorrectionChoice& choice,
               const ByPiece<char>& open, bool by_action);
  static void hold_to_tenths(const CorrectionChoice& choice, Part& part);
  static bool loses(const CorrectionChoice& choice, const Part& part, const std::vector<double>& values);
  static void hold_edges(const CorrectionChoice& choice, Part& part);
  ByPiece<char> with_neighbours(const CorrectionChoice& choice, const ByPiece<char>& open) const;
  ByPiece<char> candidates_of(bool helpers) const;
  std::vector<std::vector<PieceIndex>> open_parts(const CorrectionChoice& choice,
                                                  const ByPiece<char>& open) const;
  void add_pairs(const ByPiece<Move>& at, Part& part);
  void choose_part(const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at, CorrectionChoice& out);
  double lower_of(PairIndex pair, bool throat) const;
  bool is_active(PairIndex pair, std::size_t row) const;
  bool activate_missed(const Part& part, const ByPiece<Move>& at, const std::vector<double>& values);
  Fewest fewest_of(const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at, bool& missed);
  bool least_with(const Fewest& fewest, const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at,
                  CorrectionChoice& out);
  std::set<PairIndex> hopeless(const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at);
  Fewest fewest_to_cover(const std::vector<PieceIndex>& pieces, const std::set<PairIndex>& lost,
                         const ByPiece<Move>& at);
  double move_reach(const WidthRow& row, std::size_t side) const;
  bool alone_is_enough(PairIndex pair, std::size_t side, const ByPiece<Move>& at);
  double far_reach(const WidthRow& row, std::size_t side) const;
  int nodes_for(const MixedProgram& program) const;
  void add_row(PairIndex pair, const WidthRow& row, const ByPiece<Move>& at, double dear, Part& part);
  void add_work_variables(PairIndex pair, double dear, Part& part);
  void add_ceiling(PairIndex pair, const ByPiece<Move>& at, Part& part);
  void add_piece(PieceIndex piece, Part& part) const;
  MixedProgram::Terms moves_in(const WidthRow& row, const std::array<PieceIndex, 2>& piece,
                               const ByPiece<Move>& at, const Part& part, double& constant) const;
  double reach(const WidthRow& row, const std::array<PieceIndex, 2>& piece, const Part& part) const;
  void read(const Part& part, const std::vector<double>& values, CorrectionChoice& out) const;

  const CorrectionShell& shell_;
  const CorrectionOptions& options_;
  ByPair<LinearPair> linear_;  // cache
  ByPair<char> linear_known_;
  // The rows that a solution missed, by throat and step. Only they, the narrowest and what is short as it
  // stands are written into a program: it stays small, and a solution that misses none of the others is one of all.
  ByPair<std::set<std::pair<bool, long>>> missed_rows_;
};

}  // namespace interstice::rework
