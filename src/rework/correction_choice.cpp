// Which pieces to touch: fewest first, then least work.
#include <algorithm>
#include <boost/pending/disjoint_sets.hpp>
#include <cmath>
#include <map>

#include "rework/correction_part.h"

namespace interstice::rework {
namespace {

constexpr double kLost = 1e-3;          // of a seam, relaxed
constexpr std::size_t kFewPieces = 24;  // chosen in a moment
constexpr int kManyRows = 1500;         // in seconds only with the pieces given

}  // namespace

std::vector<std::vector<PieceIndex>> CorrectionModel::connected(const ByPiece<char>& candidates) const {
  boost::disjoint_sets_with_storage<> joined(shell_.pieces.size());
  for (const ShellPair& p : shell_.pairs) {
    if (candidates[p.a] && candidates[p.b]) joined.union_set(p.a.value, p.b.value);
  }
  // In the order of their first pieces, whichever of them stands for the part.
  std::vector<std::vector<PieceIndex>> parts;
  std::map<std::size_t, std::size_t> part_of;
  for (const PieceIndex i : shell_.pieces.indices()) {
    if (!candidates[i]) continue;
    const auto [at, is_first] = part_of.try_emplace(joined.find_set(i.value), parts.size());
    if (is_first) parts.emplace_back();
    parts[at->second].push_back(i);
  }
  return parts;
}

// Which pieces are touched and which seams are given up.
struct CorrectionModel::Fewest {
  bool feasible = false, proved = false;
  std::map<PieceIndex, bool> touched;
  std::map<PairIndex, bool> given_up;
  double count() const {
    return static_cast<double>(
        std::count_if(touched.begin(), touched.end(), [](const auto& t) { return t.second; }));
  }
};

double CorrectionModel::far_reach(const WidthRow& row, std::size_t side) const {
  const double off =
      row.by_sand[side] +
      (options_.ease && row.throat && row.by_ease[side] > kLeastEasing ? row.by_ease[side] : 0);
  return options_.max_sand_mm * off + move_reach(row, side);
}

// No more than a hope: whatever else its moves do, could this piece alone make the pair wide enough?
bool CorrectionModel::alone_is_enough(PairIndex index, std::size_t side, const ByPiece<Move>& at) {
  for (const WidthRow& row : linear(index, at).rows) {
    if (row.width_mm + far_reach(row, side) < lower_of(index, row.throat)) return false;
  }
  return true;
}

int CorrectionModel::nodes_for(const MixedProgram& program) const {
  return std::max(1, static_cast<int>(options_.max_search / std::max(1, program.row_count())));
}

// Seams that have to be given up even if every piece is touched.
std::set<PairIndex> CorrectionModel::hopeless(const std::vector<PieceIndex>& pieces,
                                              const ByPiece<Move>& at) {
  std::set<PairIndex> out;
  for (int pass = 0; pass < kPasses; ++pass) {
    Part part = build(pieces, at, Detail::edges);
    for (const auto& [piece, v] : part.pieces) part.program.set_bounds(v.touched, 1, 1);
    for (const PairIndex k : out) part.program.set_bounds(part.given_up.at(k), 1, 1);
    part.program.drop_integers();
    const auto least = part.program.minimise(part.lost, {});
    if (!least.feasible) return out;
    const std::size_t before = out.size();
    for (const auto& [pair, lost] : part.given_up) {
      if (least.values[static_cast<std::size_t>(lost)] > kLost) out.insert(pair);
    }
    if (!activate_missed(part, at, least.values) && out.size() == before) return out;
  }
  return out;
}

// The fewest pieces of which every seam that has to rise has one, or both where one is not enough: no solution of the
// whole program that gives up only the hopeless seams touches fewer. Of several the pieces that miss most.
CorrectionModel::Fewest CorrectionModel::fewest_to_cover(const std::vector<PieceIndex>& pieces,
                                                         const std::set<PairIndex>& lost,
                                                         const ByPiece<Move>& at) {
  MixedProgram program;
  std::map<PieceIndex, int> touched;
  std::map<PieceIndex, double> missing;
  double all = 0;
  for (const PieceIndex p : pieces) touched[p] = program.add_variable(0, 1, true);
  Fewest out;
  for (const PairIndex k : shell_.pairs.indices()) {
    const ShellPair& pair = shell_.pairs[k];
    const bool has_a = touched.contains(pair.a), has_b = touched.contains(pair.b);
    if (!pair.must_rise || (!has_a && !has_b)) continue;
    out.given_up[k] = lost.contains(k) || forced_up[k] != 0;
    if (out.given_up[k]) continue;
    MixedProgram::Terms cover;
    for (const std::size_t side : {0, 1}) {
      const PieceIndex own = side == 0 ? pair.a : pair.b, other = side == 0 ? pair.b : pair.a;
      if (!touched.contains(own)) continue;
      cover.emplace_back(touched[own], 1.0);
      const double short_mm =
          std::max(pair.lower_mm - pair.now_mm, pair.throat_lower_mm - pair.throat_now_mm);
      missing[own] += std::max(0.0, short_mm), all += std::max(0.0, short_mm);
      if (touched.contains(other) && !alone_is_enough(k, side, at))
        program.add_row(1, {{touched[other], 1.0}}, MixedProgram::kInfinity);
    }
    program.add_row(1, cover, MixedProgram::kInfinity);
  }
  MixedProgram::Terms objective;
  for (const auto& [piece, variable] : touched)
    objective.emplace_back(variable, 1 - (all > 0 ? 0.9 * missing[piece] / all : 0));
  const auto found = program.minimise(objective, {.absolute_gap = 1e-6, .max_nodes = nodes_for(program)});
  out.feasible = found.feasible, out.proved = found.proved;
  if (!found.feasible) return out;
  for (const auto& [piece, variable] : touched)
    out.touched[piece] = found.values[static_cast<std::size_t>(variable)] > 0.5;
  return out;
}

// The least work with so many pieces and these seams given up; false where that cannot be. In a large program, with
// these pieces.
bool CorrectionModel::least_with(const Fewest& fewest, const std::vector<PieceIndex>& pieces,
                                 const ByPiece<Move>& at, CorrectionChoice& out) {
  for (int pass = 0; pass < kPasses; ++pass) {
    Part part = build(pieces, at, Detail::steps);
    part.program.add_row(0, part.count, fewest.count());
    for (const auto& [pair, lost] : part.given_up) {
      const double v = fewest.given_up.at(pair) ? 1 : 0;
      part.program.set_bounds(lost, v, v);
    }
    if (part.program.row_count() > kManyRows) {
      for (const auto& [piece, v] : part.pieces) {
        const double t = fewest.touched.at(piece) ? 1 : 0;
        part.program.set_bounds(v.touched, t, t);
      }
    }
    const auto least = part.program.minimise(part.work, {.absolute_gap = 0.01,
                                                         .relative_gap = 0.02,
                                                         .max_nodes = nodes_for(part.program),
                                                         .root = MixedProgram::Limits::Root::nodes_alone});
    if (!least.feasible) return false;
    read(part, least.values, out);
    if (!activate_missed(part, at, least.values)) return true;
  }
  return true;
}

// By the whole program; a relaxation of it where rows are still left out.
CorrectionModel::Fewest CorrectionModel::fewest_of(const std::vector<PieceIndex>& pieces,
                                                   const ByPiece<Move>& at, bool& missed) {
  const Part part = build(pieces, at, Detail::edges);
  MixedProgram::Terms first = part.count;
  for (const auto& [variable, weight] : part.lost)
    first.emplace_back(variable, weight * static_cast<double>(pieces.size() + 1));
  // Whole numbers throughout: within one of the bound is the optimum.
  const auto found = part.program.minimise(first, {.absolute_gap = 0.99,
                                                   .max_nodes = nodes_for(part.program),
                                                   .root = MixedProgram::Limits::Root::nodes_alone});
  Fewest out{found.feasible, found.proved, {}, {}};
  missed = false;
  if (!found.feasible) return out;
  for (const auto& [piece, v] : part.pieces)
    out.touched[piece] = found.values[static_cast<std::size_t>(v.touched)] > 0.5;
  for (const auto& [pair, lost] : part.given_up)
    out.given_up[pair] = found.values[static_cast<std::size_t>(lost)] > 0.5;
  missed = activate_missed(part, at, found.values);
  return out;
}

void CorrectionModel::choose_part(const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at,
                                  CorrectionChoice& out) {
  const bool any = std::any_of(shell_.pairs.begin(), shell_.pairs.end(), [&](const ShellPair& p) {
    return p.must_rise &&
           std::any_of(pieces.begin(), pieces.end(), [&](PieceIndex i) { return i == p.a || i == p.b; });
  });
  if (!any) return;
  // Mostly the fewest pieces that cover the seams will do: then no fewer can, and the large program need not ask.
  const Fewest cover = fewest_to_cover(pieces, hopeless(pieces, at), at);
  const auto bound = [&](const Fewest& f) {
    out.at_least += f.proved ? static_cast<std::size_t>(f.count()) : 0;
  };
  if (cover.proved && cover.feasible && least_with(cover, pieces, at, out)) return bound(cover);
  bool missed = true;
  for (int pass = 0; missed && pass < kPasses; ++pass) {
    const Fewest fewest = fewest_of(pieces, at, missed);
    if (!fewest.feasible) break;
    if (!least_with(fewest, pieces, at, out)) continue;
    out.proved = out.proved && fewest.proved;
    return bound(fewest);
  }
  out.proved = false;
}

// Pieces next to a seam that has to rise, and with helpers also their neighbours.
ByPiece<char> CorrectionModel::candidates_of(bool helpers) const {
  ByPiece<char> candidates(shell_.pieces.size(), 0);
  const auto admit = [&](PieceIndex piece) { candidates[piece] = shell_.pieces[piece].free; };
  for (const ShellPair& p : shell_.pairs) {
    if (p.must_rise) admit(p.a), admit(p.b);
  }
  if (!helpers) return candidates;
  const ByPiece<char> first = candidates;
  for (const ShellPair& p : shell_.pairs) {
    if (first[p.a]) admit(p.b);
    if (first[p.b]) admit(p.a);
  }
  return candidates;
}

bool CorrectionModel::helpers_may_free(const CorrectionChoice& choice) {
  const ByPiece<Move> still(shell_.pieces.size());
  std::set<PairIndex> lost;
  for (const PairIndex k : shell_.pairs.indices()) {
    if (choice.given_up[k] && !forced_up[k]) lost.insert(k);
  }
  if (lost.empty()) return false;
  for (const std::vector<PieceIndex>& pieces : connected(candidates_of(true))) {
    for (const PairIndex k : hopeless(pieces, still)) lost.erase(k);
  }
  return !lost.empty();
}

void CorrectionModel::choose_again(bool helpers, ByPiece<char>& open, CorrectionChoice& choice) {
  const ByPiece<Move> still(shell_.pieces.size());
  const std::size_t at_least = choice.at_least;  // margins are no bound
  for (const std::vector<PieceIndex>& pieces : connected(candidates_of(helpers))) {
    const auto is_open = [&](PieceIndex p) { return open[p] != 0; };
    if (pieces.size() > kFewPieces || std::none_of(pieces.begin(), pieces.end(), is_open)) continue;
    for (const PieceIndex p : pieces) choice.touched[p] = 0, choice.moves[p] = {}, open[p] = 1;
    for (const PairIndex k : shell_.pairs.indices()) {
      const ShellPair& pair = shell_.pairs[k];
      const bool here =
          std::any_of(pieces.begin(), pieces.end(), [&](PieceIndex p) { return p == pair.a || p == pair.b; });
      if (!here) continue;
      choice.depth[k] = choice.foot[k] = {0, 0};
      choice.given_up[k] = pair.must_rise;
    }
    choose_part(pieces, still, choice);
  }
  choice.at_least = at_least;
}

CorrectionChoice CorrectionModel::choose(const ByPiece<Move>& at, bool helpers) {
  CorrectionChoice out{ByPiece<char>(shell_.pieces.size(), 0), ByPiece<Move>(shell_.pieces.size()),
                       ByPair<std::array<double, 2>>(shell_.pairs.size(), {0, 0}),
                       ByPair<std::array<double, 2>>(shell_.pairs.size(), {0, 0}),
                       ByPair<char>(shell_.pairs.size(), 0)};
  for (const PairIndex k : shell_.pairs.indices())
    out.given_up[k] = shell_.pairs[k].must_rise;  // until a part of the shell says otherwise
  for (const std::vector<PieceIndex>& pieces : connected(candidates_of(helpers)))
    choose_part(pieces, at, out);
  return out;
}

}  // namespace interstice::rework
