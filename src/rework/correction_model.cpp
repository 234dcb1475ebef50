#include "rework/correction_model.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <numeric>

#include "rework/correction_part.h"

namespace interstice::rework {
namespace {

using Eigen::Vector3d;

constexpr double kPreference = 20.0;  // how much dearer the work is that is not preferred
constexpr double kAction =
    1.0;  // setting about one more edge or move costs as much as a millimetre of travel
// Wood does not grow back, a piece can be shifted again: 3 mm^2 off an edge (0.3 mm over 10 mm) weigh as much
// as 1 mm.
constexpr double kAreaToTravel = 3.0;
constexpr double kEasedShare = 0.5;  // of the wood: a wedge
constexpr double kMayShrink = 0.02;  // of a seam given up: as good as unchanged

}  // namespace

CorrectionModel::CorrectionModel(const CorrectionShell& shell, const CorrectionOptions& options)
    : lower_margin_mm(shell.pairs.size(), 0.0),
      throat_margin_mm(shell.pairs.size(), 0.0),
      upper_margin_mm(shell.pairs.size(), 0.0),
      forced_up(shell.pairs.size(), 0),
      shell_(shell),
      options_(options),
      linear_(shell.pairs.size()),
      linear_known_(shell.pairs.size(), 0),
      missed_rows_(shell.pairs.size()) {}

const LinearPair& CorrectionModel::linear(PairIndex pair, const ByPiece<Move>& at) {
  const ShellPair& p = shell_.pairs[pair];
  const std::array<Move, 2> wanted{at[p.a], at[p.b]};
  if (!linear_known_[pair] || linear_[pair].at != wanted) {
    linear_[pair] = linearise(shell_, p, wanted);
    linear_known_[pair] = 1;
  }
  return linear_[pair];
}

void CorrectionModel::add_piece(PieceIndex piece, Part& part) const {
  Part::PieceVariables v;
  v.touched = part.program.add_variable(0, 1, true);
  part.pieces[piece] = v;
  part.count.emplace_back(v.touched, 1.0);
  const double rim_per_deg = shell_.pieces[piece].rim_mm * std::numbers::pi / 180.0;
  const double dear = options_.prefer == CorrectionOptions::Prefer::sand ? kPreference : 1.0;
  const int on = options_.glued ? v.touched : part.switch_of(piece, dear * kAction);
  for (std::size_t k = 0; k < 3; ++k) {
    const double most = options_.glued ? 0.0 : k < 2 ? options_.max_move_mm : options_.max_turn_deg;
    v.plus[k] = part.program.add_variable(0, most);
    v.minus[k] = part.program.add_variable(0, most);
    part.program.add_row(-MixedProgram::kInfinity, {{v.plus[k], 1}, {v.minus[k], 1}, {on, -most}}, 0);
    const double cost = dear * (k < 2 ? 1.0 : rim_per_deg);
    part.work.emplace_back(v.plus[k], cost);
    part.work.emplace_back(v.minus[k], cost);
  }
  part.pieces[piece] = v;
}

void CorrectionModel::add_pair(PairIndex index, const ByPiece<Move>& at, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const LinearPair& model = linear(index, at);
  const std::array<PieceIndex, 2> piece{pair.a, pair.b};
  const bool given_up = forced_up[index] != 0;
  if (pair.must_rise) {
    const int lost = part.program.add_variable(given_up ? 1 : 0, 1, true);
    part.given_up[index] = lost;
    part.lost.emplace_back(lost, std::round(10 * pair.value));
    MixedProgram::Terms cover{{lost, 1.0}};
    for (const PieceIndex p : piece) {
      if (const auto v = part.pieces.find(p); v != part.pieces.end())
        cover.emplace_back(v->second.touched, 1.0);
    }
    part.program.add_row(1, cover, MixedProgram::kInfinity);
  }
  const double dear = options_.prefer == CorrectionOptions::Prefer::move ? kPreference : 1.0;
  add_work_variables(index, dear, part);
  for (std::size_t r = 0; r < model.rows.size(); ++r) {
    if (is_active(index, r)) add_row(index, model.rows[r], at, dear, part);
  }
  add_ceiling(index, at, part);
}

double CorrectionModel::lower_of(PairIndex index, bool throat) const {
  const ShellPair& pair = shell_.pairs[index];
  return throat ? pair.throat_lower_mm + throat_margin_mm[index] : pair.lower_mm + lower_margin_mm[index];
}

bool CorrectionModel::is_active(PairIndex index, std::size_t r) const {
  const LinearPair& model = linear_[index];
  const WidthRow& row = model.rows[r];
  return r == model.narrowest || (model.narrowest_throat && r == *model.narrowest_throat) ||
         row.width_mm < lower_of(index, row.throat) || missed_rows_[index].contains({row.throat, row.step});
}

// Rows left out of a program that its solution misses are written into the next; false: it misses none.
bool CorrectionModel::activate_missed(const Part& part, const ByPiece<Move>& at,
                                      const std::vector<double>& values) {
  bool any = false;
  for (const auto& [index, work] : part.edges) {
    const ShellPair& pair = shell_.pairs[index];
    const std::array<PieceIndex, 2> piece{pair.a, pair.b};
    const auto is_on = [&](PieceIndex p) {
      const auto v = part.pieces.find(p);
      return v != part.pieces.end() && values[static_cast<std::size_t>(v->second.touched)] > 0.5;
    };
    if (!is_on(pair.a) && !is_on(pair.b)) continue;
    const auto lost = part.given_up.find(index);
    const bool is_lost = lost != part.given_up.end() && values[static_cast<std::size_t>(lost->second)] > 0.5;
    const LinearPair& model = linear_[index];
    for (std::size_t r = 0; r < model.rows.size(); ++r) {
      if (is_active(index, r)) continue;
      const WidthRow& row = model.rows[r];
      double width = 0;
      for (const auto& [variable, slope] : moves_in(row, piece, at, part, width))
        width += slope * values[static_cast<std::size_t>(variable)];
      const double now = row.throat ? pair.throat_now_mm : pair.now_mm;
      const double lower = lower_of(index, row.throat);
      if (width >= (is_lost ? std::min(lower, now - kMayShrink) : lower) - kMissed) continue;
      missed_rows_[index].insert({row.throat, row.step});
      any = true;
    }
  }
  return any;
}

// Depth off either edge and off the foot of either wall: at each place as much as is short there, and no less than
// the deepest in the run-out.
void CorrectionModel::add_work_variables(PairIndex index, double dear, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const std::array<PieceIndex, 2> piece{pair.a, pair.b};
  Part::EdgeWork work;
  const bool may_sand =
      shell_.pieces[pair.a].measured && shell_.pieces[pair.b].measured && options_.max_sand_mm > 0;
  for (std::size_t side = 0; may_sand && side < 2; ++side) {
    const auto v = part.pieces.find(piece[side]);
    if (v == part.pieces.end()) continue;
    const auto add = [&](double share) {
      const int variable = part.program.add_variable(0, options_.max_sand_mm);
      part.program.add_row(-MixedProgram::kInfinity,
                           {{variable, 1}, {v->second.touched, -options_.max_sand_mm}}, 0);
      part.work.emplace_back(variable, dear * share * kRunOutMm / kAreaToTravel);
      return variable;
    };
    work.sand[side] = add(1);
    if (options_.ease && std::isfinite(pair.throat_lower_mm)) work.ease[side] = add(kEasedShare);
  }
  part.edges[index] = std::move(work);
}

void CorrectionModel::add_row(PairIndex index, const WidthRow& row, const ByPiece<Move>& at, double dear,
                              Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const std::array<PieceIndex, 2> piece{pair.a, pair.b};
  const double lower = lower_of(index, row.throat);
  double constant = 0;
  MixedProgram::Terms terms = moves_in(row, piece, at, part, constant);
  if (terms.empty() || constant - reach(row, piece, part) >= lower) return;
  Part::EdgeWork& work = part.edges[index];
  const auto here = [&](std::map<long, int>& at_step, int most, double share) {
    if (part.one_depth) return most;
    const auto [place, is_new] = at_step.try_emplace(row.step, -1);
    if (is_new) {
      place->second = part.program.add_variable(0, options_.max_sand_mm);
      part.program.add_row(-MixedProgram::kInfinity, {{place->second, 1}, {most, -1}}, 0);
      part.work.emplace_back(place->second, dear * share * row.length_mm / kAreaToTravel);
    }
    return place->second;
  };
  for (std::size_t side = 0; side < 2; ++side) {
    if (work.sand[side] >= 0 && row.by_sand[side] > 0)
      terms.emplace_back(here(work.sand_at[side], work.sand[side], 1), row.by_sand[side]);
    if (row.throat && work.ease[side] >= 0 && row.by_ease[side] > kLeastEasing)
      terms.emplace_back(here(work.ease_at[side], work.ease[side], kEasedShare), row.by_ease[side]);
  }
  double eased = 0;
  const double now = row.throat ? pair.throat_now_mm : pair.now_mm;
  if (const auto lost = part.given_up.find(index); lost != part.given_up.end()) {
    terms.emplace_back(lost->second, std::max(0.0, lower - std::min(now - kMayShrink, lower)));
  } else if (eased = std::max(0.0, lower - constant); eased > 0) {
    terms.emplace_back(part.held_of(index, piece), -eased);
  }
  part.program.add_row(lower - constant - eased, std::move(terms), MixedProgram::kInfinity);
}

void CorrectionModel::add_ceiling(PairIndex index, const ByPiece<Move>& at, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const LinearPair& model = linear(index, at);
  if (!std::isfinite(pair.upper_mm) || model.rows.empty()) return;
  const std::array<PieceIndex, 2> piece{pair.a, pair.b};
  const WidthRow& row = model.rows[model.narrowest];
  double constant = 0;
  MixedProgram::Terms terms = moves_in(row, piece, at, part, constant);
  double most = constant + reach(row, piece, part);
  for (std::size_t side = 0; side < 2; ++side) {
    const int sand = part.edges[index].sand[side];
    if (sand < 0) continue;
    terms.emplace_back(sand, row.by_sand[side]);
    most += row.by_sand[side] * options_.max_sand_mm;
  }
  const double upper = pair.upper_mm - upper_margin_mm[index];
  if (most <= upper || terms.empty()) return;
  const double eased = std::max(0.0, constant - upper);
  if (eased > 0) terms.emplace_back(part.held_of(index, piece), eased);
  part.program.add_row(-MixedProgram::kInfinity, std::move(terms), upper - constant + eased);
}

// The width of a row as constant + terms in the moves' variables.
MixedProgram::Terms CorrectionModel::moves_in(const WidthRow& row, const std::array<PieceIndex, 2>& piece,
                                              const ByPiece<Move>& at, const Part& part,
                                              double& constant) const {
  MixedProgram::Terms terms;
  constant = row.width_mm;
  for (std::size_t side = 0; side < 2; ++side) {
    const auto v = part.pieces.find(piece[side]);
    if (v == part.pieces.end()) continue;
    const Move& here = at[piece[side]];
    constant -= row.by_move[side].dot(Vector3d(here.along_mm, here.towards_pole_mm, here.turn_deg));
    for (std::size_t k = 0; k < 3; ++k) {
      const double slope = row.by_move[side][static_cast<Eigen::Index>(k)];
      terms.emplace_back(v->second.plus[k], slope);
      terms.emplace_back(v->second.minus[k], -slope);
    }
  }
  return terms;
}

// How far moves within their bounds can change the width of a row.
double CorrectionModel::reach(const WidthRow& row, const std::array<PieceIndex, 2>& piece,
                              const Part& part) const {
  double sum = 0;
  for (std::size_t side = 0; side < 2; ++side) {
    if (part.pieces.contains(piece[side])) sum += move_reach(row, side);
  }
  return sum;
}

double CorrectionModel::move_reach(const WidthRow& row, std::size_t side) const {
  if (options_.glued) return 0;
  return options_.max_move_mm * (std::abs(row.by_move[side].x()) + std::abs(row.by_move[side].y())) +
         options_.max_turn_deg * std::abs(row.by_move[side].z());
}

void CorrectionModel::add_pairs(const ByPiece<Move>& at, Part& part) {
  for (const PairIndex k : shell_.pairs.indices()) {
    const ShellPair& p = shell_.pairs[k];
    const auto counts = [&](PieceIndex i) { return part.pieces.contains(i) && part.is_open(i); };
    if (counts(p.a) || counts(p.b)) add_pair(k, at, part);
  }
}

CorrectionModel::Part CorrectionModel::build(const std::vector<PieceIndex>& pieces, const ByPiece<Move>& at,
                                             Detail detail) {
  Part part;
  part.one_depth = detail == Detail::edges;
  for (const PieceIndex p : pieces) add_piece(p, part);
  add_pairs(at, part);
  return part;
}

void CorrectionModel::read(const Part& part, const std::vector<double>& values, CorrectionChoice& out) const {
  const auto value = [&](int variable) { return values[static_cast<std::size_t>(variable)]; };
  for (const auto& [piece, v] : part.pieces) {
    out.touched[piece] = value(v.touched) > 0.5;
    const Part::PieceVariables& of = v;  // a binding itself is not to be captured
    const auto net = [&](std::size_t k) { return value(of.plus[k]) - value(of.minus[k]); };
    out.moves[piece] = {net(0), net(1), net(2)};
  }
  for (const auto& [pair, work] : part.edges) {
    for (std::size_t side = 0; side < 2; ++side) {
      out.depth[pair][side] = work.sand[side] >= 0 ? value(work.sand[side]) : 0.0;
      out.foot[pair][side] = work.ease[side] >= 0 ? value(work.ease[side]) : 0.0;
    }
  }
  if (part.settled) return;
  for (const auto& [pair, lost] : part.given_up) out.given_up[pair] = value(lost) > 0.5;
}

}  // namespace interstice::rework
