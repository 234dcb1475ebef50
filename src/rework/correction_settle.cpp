// The least work with the pieces chosen, and the same in tenths.
#include <algorithm>
#include <cmath>

#include "rework/correction_part.h"

namespace interstice::rework {
namespace {

// A tenth of a millimetre of travel is not worth a longer search.
MixedProgram::Limits work_limits(const MixedProgram& program) {
  constexpr int kWork = 100000;  // nodes times rows
  return {.absolute_gap = 0.1,
          .relative_gap = 0.03,
          .max_nodes = std::clamp(kWork / std::max(1, program.row_count()), 10, 1000),
          .root = MixedProgram::Limits::Root::cheap};
}
constexpr double kNoMove = 0.02;
constexpr double kNoSand = 0.05;     // less than the tenths would show
constexpr double kTenthsAround = 2;  // either way, when moves are held to tenths
constexpr double kDearLoss = 1000;   // more than all work on a piece

}  // namespace

// Holds moves to tenths near the given ones, and moves that are not made to nothing.
void CorrectionModel::hold_to_tenths(const CorrectionChoice& choice, Part& part) {
  for (const auto& [piece, v] : part.pieces) {
    if (!part.is_open(piece)) continue;
    const Move& m = choice.moves[piece];
    const std::array<double, 3> wanted{m.along_mm, m.towards_pole_mm, m.turn_deg};
    for (std::size_t k = 0; k < 3; ++k) {
      if (std::abs(wanted[k]) < kNoMove) {
        part.program.set_bounds(v.plus[k], 0, 0);
        part.program.set_bounds(v.minus[k], 0, 0);
        continue;
      }
      const double near = std::floor(wanted[k] * 10);
      const int tenths = part.program.add_variable(near - kTenthsAround, near + 1 + kTenthsAround, true);
      part.program.add_row(0, {{v.plus[k], 1}, {v.minus[k], -1}, {tenths, -0.1}}, 0);
    }
  }
}

// Edges and walls that are left alone stay so.
void CorrectionModel::hold_edges(const CorrectionChoice& choice, Part& part) {
  for (const auto& [pair, work] : part.edges) {
    for (std::size_t side = 0; side < 2; ++side) {
      if (work.sand[side] >= 0 && choice.depth[pair][side] < kNoSand)
        part.program.set_bounds(work.sand[side], 0, 0);
      if (work.ease[side] >= 0 && choice.foot[pair][side] < kNoSand)
        part.program.set_bounds(work.ease[side], 0, 0);
    }
  }
}

CorrectionModel::Part CorrectionModel::settled(const std::vector<PieceIndex>& pieces,
                                               const CorrectionChoice& choice, const ByPiece<char>& open,
                                               bool by_action) {
  Part part;
  part.by_action = by_action;
  part.settled = true;
  for (const PieceIndex p : pieces) {
    if (open[p]) part.open.insert(p);
    add_piece(p, part);
  }
  add_pairs(choice.moves, part);
  for (const auto& [piece, v] : part.pieces) {
    part.program.set_bounds(v.touched, 1, 1);
    if (part.is_open(piece)) continue;
    const Move& m = choice.moves[piece];
    const std::array<double, 3> held{m.along_mm, m.towards_pole_mm, m.turn_deg};
    for (std::size_t k = 0; k < 3; ++k) {
      part.program.set_bounds(v.plus[k], std::max(0.0, held[k]), std::max(0.0, held[k]));
      part.program.set_bounds(v.minus[k], std::max(0.0, -held[k]), std::max(0.0, -held[k]));
    }
  }
  for (const auto& [pair, lost] : part.given_up) {
    if (choice.given_up[pair]) {
      part.program.set_bounds(lost, 1, 1);
    } else {  // what cannot be had here must not keep the rest from being had
      part.program.make_continuous(lost);
      part.work.emplace_back(lost, kDearLoss);
    }
  }
  return part;
}

// The open pieces and their touched neighbours.
ByPiece<char> CorrectionModel::with_neighbours(const CorrectionChoice& choice,
                                               const ByPiece<char>& open) const {
  ByPiece<char> out(open.size(), 0);
  for (const PieceIndex i : open.indices()) out[i] = open[i] && choice.touched[i];
  for (const ShellPair& p : shell_.pairs) {
    if (open[p.a] && choice.touched[p.a] && choice.touched[p.b]) out[p.b] = 1;
    if (open[p.b] && choice.touched[p.b] && choice.touched[p.a]) out[p.a] = 1;
  }
  return out;
}

// Whether a seam that is not given up is missed all the same.
bool CorrectionModel::loses(const CorrectionChoice& choice, const Part& part,
                            const std::vector<double>& values) {
  return std::any_of(part.given_up.begin(), part.given_up.end(), [&](const auto& lost) {
    return !choice.given_up[lost.first] && values[static_cast<std::size_t>(lost.second)] > kMissed;
  });
}

// The open pieces in connected parts, with their touched neighbours.
std::vector<std::vector<PieceIndex>> CorrectionModel::open_parts(const CorrectionChoice& choice,
                                                                 const ByPiece<char>& open) const {
  std::vector<std::vector<PieceIndex>> parts = connected(with_neighbours(choice, open));
  std::erase_if(parts, [&](const std::vector<PieceIndex>& pieces) {
    return std::none_of(pieces.begin(), pieces.end(), [&](PieceIndex p) { return open[p] != 0; });
  });
  return parts;
}

CorrectionChoice CorrectionModel::refine(const CorrectionChoice& choice, const ByPiece<char>& open) {
  CorrectionChoice out = choice;
  for (const std::vector<PieceIndex>& pieces : open_parts(choice, open)) {
    for (int pass = 0; pass < kPasses; ++pass) {
      const Part part = settled(pieces, choice, open, true);
      const auto least = part.program.minimise(part.work, work_limits(part.program));
      if (!least.feasible) break;
      read(part, least.values, out);
      if (!activate_missed(part, choice.moves, least.values)) break;
    }
  }
  return out;
}

CorrectionChoice CorrectionModel::in_tenths(const CorrectionChoice& choice, const ByPiece<char>& open) {
  CorrectionChoice out = choice;
  for (const std::vector<PieceIndex>& pieces : open_parts(choice, open)) {
    for (const bool same_edges : {true, false}) {
      bool found = false;
      for (int pass = 0; pass < kPasses; ++pass) {
        Part part = settled(pieces, choice, open, false);
        hold_to_tenths(choice, part);
        if (same_edges) hold_edges(choice, part);
        const auto least = part.program.minimise(part.work, work_limits(part.program));
        if (!least.feasible || (same_edges && loses(choice, part, least.values))) break;
        found = true;
        read(part, least.values, out);
        if (!activate_missed(part, choice.moves, least.values)) break;
      }
      if (found) break;
    }
  }
  return out;
}

}  // namespace interstice::rework
