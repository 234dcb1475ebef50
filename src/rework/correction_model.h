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
  std::vector<char> touched;                 // by piece
  std::vector<Move> moves;                   // by piece
  std::vector<std::array<double, 2>> depth;  // by pair: off a's edge, off b's edge
  std::vector<std::array<double, 2>> foot;   // by pair: what easing takes off the foot of either wall, mm
  std::vector<char> given_up;                // by pair
  std::size_t at_least =
      0;  // pieces that have to be touched for what is not given up, in the linear model; 0: not known
  bool proved = true;  // no fewer seams given up, and for that no fewer pieces touched, in the linear model
};

class CorrectionModel {
 public:
  CorrectionModel(const CorrectionShell& shell, const CorrectionOptions& options);

  // Extra width asked of a pair (against rounding and the linear model's error), and less room upward.
  std::vector<double> lower_margin_mm, throat_margin_mm, upper_margin_mm;  // by pair
  std::vector<char> forced_up;                                             // pairs not to be tried any more

  // Which pieces to touch, and how, linearised at the given moves. Only pieces next to a seam that has to
  // rise come into question, and with helpers also their neighbours. Doing nothing and giving up every seam
  // is always among the solutions, whatever the margins.
  CorrectionChoice choose(const std::vector<Move>& at, bool helpers);
  // The same for those small parts of the shell, with margins as they are now, that have open pieces; marks all pieces
  // of such parts as open.
  void choose_again(bool helpers, std::vector<char>& open, CorrectionChoice& choice);
  // Whether with helpers a seam might be had that this choice, made without, gives up.
  bool helpers_may_free(const CorrectionChoice& choice);
  // The least work with the same pieces and seams given up, linearised at the choice's moves; counts the
  // edges and moves set about too. Only the open pieces (by piece) may change; their touched neighbours are held where
  // they are. Keeps a part of the choice that has no solution.
  CorrectionChoice refine(const CorrectionChoice& choice, const std::vector<char>& open);
  // The same with each move a multiple of 0.1, moves that are not made left out, and if that can be the same
  // edges.
  CorrectionChoice in_tenths(const CorrectionChoice& choice, const std::vector<char>& open);

 private:
  struct Part;  // a connected part of the shell as a program
  std::vector<std::vector<std::size_t>> connected(const std::vector<char>& candidates) const;
  const LinearPair& linear(std::size_t pair, const std::vector<Move>& at);
  struct Fewest;  // which pieces, and which seams are given up
  // What is taken off an edge: one depth, or one at each step along it (dearer to solve, truer in work).
  enum class Detail { edges, steps };
  Part build(const std::vector<std::size_t>& pieces, const std::vector<Move>& at, Detail detail);
  void add_pair(std::size_t pair, const std::vector<Move>& at, Part& part);
  Part settled(const std::vector<std::size_t>& pieces, const CorrectionChoice& choice,
               const std::vector<char>& open, bool by_action);
  static void hold_to_tenths(const CorrectionChoice& choice, Part& part);
  static bool loses(const CorrectionChoice& choice, const Part& part, const std::vector<double>& values);
  static void hold_edges(const CorrectionChoice& choice, Part& part);
  std::vector<char> with_neighbours(const CorrectionChoice& choice, const std::vector<char>& open) const;
  std::vector<char> candidates_of(bool helpers) const;
  std::vector<std::vector<std::size_t>> open_parts(const CorrectionChoice& choice,
                                                   const std::vector<char>& open) const;
  void add_pairs(const std::vector<Move>& at, Part& part);
  void choose_part(const std::vector<std::size_t>& pieces, const std::vector<Move>& at,
                   CorrectionChoice& out);
  double lower_of(std::size_t pair, bool throat) const;
  bool is_active(std::size_t pair, std::size_t row) const;
  bool activate_missed(const Part& part, const std::vector<Move>& at, const std::vector<double>& values);
  Fewest fewest_of(const std::vector<std::size_t>& pieces, const std::vector<Move>& at, bool& missed);
  bool least_with(const Fewest& fewest, const std::vector<std::size_t>& pieces, const std::vector<Move>& at,
                  CorrectionChoice& out);
  std::set<std::size_t> hopeless(const std::vector<std::size_t>& pieces, const std::vector<Move>& at);
  Fewest fewest_to_cover(const std::vector<std::size_t>& pieces, const std::set<std::size_t>& lost,
                         const std::vector<Move>& at);
  double move_reach(const WidthRow& row, std::size_t side) const;
  bool alone_is_enough(std::size_t pair, std::size_t side, const std::vector<Move>& at);
  double far_reach(const WidthRow& row, std::size_t side) const;
  int nodes_for(const MixedProgram& program) const;
  void add_row(std::size_t pair, const WidthRow& row, const std::vector<Move>& at, double dear, Part& part);
  void add_work_variables(std::size_t pair, double dear, Part& part);
  void add_ceiling(std::size_t pair, const std::vector<Move>& at, Part& part);
  void add_piece(std::size_t piece, Part& part) const;
  MixedProgram::Terms moves_in(const WidthRow& row, const std::array<std::size_t, 2>& piece,
                               const std::vector<Move>& at, const Part& part, double& constant) const;
  double reach(const WidthRow& row, const std::array<std::size_t, 2>& piece, const Part& part) const;
  void read(const Part& part, const std::vector<double>& values, CorrectionChoice& out) const;

  const CorrectionShell& shell_;
  const CorrectionOptions& options_;
  std::vector<LinearPair> linear_;  // cache by pair
  std::vector<char> linear_known_;
  // By pair the rows that a solution missed, by throat and step. Only they, the narrowest and what is short as it
  // stands are written into a program: it stays small, and a solution that misses none of the others is one of all.
  std::vector<std::set<std::pair<bool, long>>> missed_rows_;
};

}  // namespace interstice::rework
