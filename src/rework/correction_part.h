// The program of one connected part of the shell: its variables. Internal to the correction model.
#pragma once

#include <array>
#include <map>
#include <set>

#include "rework/correction_model.h"

namespace interstice::rework {

// Near the arris easing opens next to nothing, and would have to go deep for it.
constexpr double kLeastEasing = 0.25;

constexpr double kMissed = 1e-4;
constexpr int kPasses = 8;  // of writing missed rows into a program

// Variables of one connected part of the shell.
struct CorrectionModel::Part {
  MixedProgram program;
  struct PieceVariables {
    int touched = -1;
    std::array<int, 3> plus{-1, -1, -1}, minus{-1, -1, -1};
  };
  std::map<PieceIndex, PieceVariables> pieces;
  // What may be taken off the two edges of a pair: the deepest, and what is taken at each step of the seam.
  struct EdgeWork {
    std::array<int, 2> sand{-1, -1}, ease{-1, -1};
    std::array<std::map<long, int>, 2> sand_at, ease_at;
  };
  std::map<PairIndex, EdgeWork> edges;
  std::map<PairIndex, int> given_up;
  std::map<PairIndex, int> held;          // 1 where one of its pieces is touched
  MixedProgram::Terms work, count, lost;  // the three objectives
  bool by_action = false;                 // work counts every edge and move that is set about
  bool settled = false;                   // which pieces, and which seams are given up, is not asked any more
  bool one_depth = false;                 // off each edge, instead of one at each step
  // Pieces that may change; empty: all. The others are held, and pairs of two such are left out.
  std::set<PieceIndex> open;
  bool is_open(PieceIndex piece) const { return open.empty() || open.contains(piece); }
  // What switches a variable of the given piece on: the piece, or an action of its own.
  int switch_of(PieceIndex piece, double cost) {
    if (!by_action) return pieces.at(piece).touched;
    const int action = program.add_variable(0, 1, true);
    work.emplace_back(action, cost);
    return action;
  }
  // As it stands a pair that need not rise is right, whatever margin is asked for: the variable that eases
  // its bounds while neither piece is touched.
  int held_of(PairIndex pair, const std::array<PieceIndex, 2>& piece) {
    const auto [place, is_new] = held.try_emplace(pair, -1);
    if (!is_new) return place->second;
    place->second = program.add_variable(0, 1);
    for (const PieceIndex p : piece) {
      if (const auto v = pieces.find(p); v != pieces.end())
        program.add_row(0, {{place->second, 1}, {v->second.touched, -1}}, MixedProgram::kInfinity);
    }
    return place->second;
  }
};

}  // namespace interstice::rework
