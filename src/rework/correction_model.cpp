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
// A tenth of a millimetre of travel is not worth a longer search.
constexpr MixedProgram::Limits kWorkLimits{.absolute_gap = 0.1, .relative_gap = 0.03, .max_nodes = 1000};
constexpr double kNoMove = 0.02;
constexpr double kNoSand = 0.05;     // less than the tenths would show
constexpr double kTenthsAround = 2;  // either way, when moves are held to tenths
constexpr double kAction =
    1.0;  // setting about one more edge or move costs as much as a millimetre of travel
// Wood does not grow back, a piece can be shifted again: 3 mm^2 off an edge (0.3 mm over 10 mm) weigh as much
// as 1 mm.
constexpr double kAreaToTravel = 3.0;
constexpr double kEasedShare = 0.5;  // of the wood: a wedge
// Near the arris easing opens next to nothing, and would have to go deep for it.
constexpr double kLeastEasing = 0.25;

}  // namespace

CorrectionModel::CorrectionModel(const CorrectionShell& shell, const CorrectionOptions& options)
    : lower_margin_mm(shell.pairs.size(), 0.0),
      throat_margin_mm(shell.pairs.size(), 0.0),
      upper_margin_mm(shell.pairs.size(), 0.0),
      forced_up(shell.pairs.size(), 0),
      shell_(shell),
      options_(options),
      linear_(shell.pairs.size()),
      linear_known_(shell.pairs.size(), 0) {}

std::vector<std::vector<std::size_t>> CorrectionModel::connected(const std::vector<char>& candidates) const {
  std::vector<std::size_t> root(shell_.pieces.size());
  std::iota(root.begin(), root.end(), std::size_t{0});
  const auto find = [&](std::size_t i) {
    while (root[i] != i) i = root[i] = root[root[i]];
    return i;
  };
  for (const ShellPair& p : shell_.pairs) {
    if (candidates[p.a] && candidates[p.b])
      root[std::max(find(p.a), find(p.b))] = std::min(find(p.a), find(p.b));
  }
  std::map<std::size_t, std::vector<std::size_t>> parts;
  for (std::size_t i = 0; i < root.size(); ++i) {
    if (candidates[i]) parts[find(i)].push_back(i);
  }
  std::vector<std::vector<std::size_t>> out;
  for (auto& [first, pieces] : parts) out.push_back(std::move(pieces));
  return out;
}

const LinearPair& CorrectionModel::linear(std::size_t pair, const std::vector<Move>& at) {
  const ShellPair& p = shell_.pairs[pair];
  const std::array<Move, 2> wanted{at[p.a], at[p.b]};
  if (!linear_known_[pair] || linear_[pair].at != wanted) {
    linear_[pair] = linearise(shell_, p, wanted);
    linear_known_[pair] = 1;
  }
  return linear_[pair];
}

void CorrectionModel::add_piece(std::size_t piece, Part& part) const {
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

void CorrectionModel::add_pair(std::size_t index, const std::vector<Move>& at, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const LinearPair& model = linear(index, at);
  const std::array<std::size_t, 2> piece{pair.a, pair.b};
  const bool given_up = forced_up[index] != 0;
  if (pair.must_rise) {
    const int lost = part.program.add_variable(given_up ? 1 : 0, 1, true);
    part.given_up[index] = lost;
    part.lost.emplace_back(lost, std::round(10 * pair.value));
    MixedProgram::Terms cover{{lost, 1.0}};
    for (const std::size_t p : piece) {
      if (const auto v = part.pieces.find(p); v != part.pieces.end())
        cover.emplace_back(v->second.touched, 1.0);
    }
    part.program.add_row(1, cover, MixedProgram::kInfinity);
  }
  const double dear = options_.prefer == CorrectionOptions::Prefer::move ? kPreference : 1.0;
  add_work_variables(index, dear, part);
  for (const WidthRow& row : model.rows) add_row(index, row, at, dear, part);
  add_ceiling(index, at, part);
}

double CorrectionModel::lower_of(std::size_t index, bool throat) const {
  const ShellPair& pair = shell_.pairs[index];
  return throat ? pair.throat_lower_mm + throat_margin_mm[index] : pair.lower_mm + lower_margin_mm[index];
}

// Depth off either edge and off the foot of either wall: at each place as much as is short there, and no less than
// the deepest in the run-out.
void CorrectionModel::add_work_variables(std::size_t index, double dear, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const std::array<std::size_t, 2> piece{pair.a, pair.b};
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
    if (std::isfinite(pair.throat_lower_mm)) work.ease[side] = add(kEasedShare);
  }
  part.edges[index] = std::move(work);
}

void CorrectionModel::add_row(std::size_t index, const WidthRow& row, const std::vector<Move>& at,
                              double dear, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const std::array<std::size_t, 2> piece{pair.a, pair.b};
  const double lower = lower_of(index, row.throat);
  double constant = 0;
  MixedProgram::Terms terms = moves_in(row, piece, at, part, constant);
  if (terms.empty() || constant - reach(row, piece, part) >= lower) return;
  Part::EdgeWork& work = part.edges[index];
  const auto here = [&](std::map<long, int>& at_step, int most, double share) {
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
    terms.emplace_back(lost->second, std::max(0.0, lower - std::min(now - 0.02, lower)));
  } else if (eased = std::max(0.0, lower - constant); eased > 0) {
    terms.emplace_back(part.held_of(index, piece), -eased);
  }
  part.program.add_row(lower - constant - eased, std::move(terms), MixedProgram::kInfinity);
}

void CorrectionModel::add_ceiling(std::size_t index, const std::vector<Move>& at, Part& part) {
  const ShellPair& pair = shell_.pairs[index];
  const LinearPair& model = linear(index, at);
  if (!std::isfinite(pair.upper_mm) || model.rows.empty()) return;
  const std::array<std::size_t, 2> piece{pair.a, pair.b};
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
MixedProgram::Terms CorrectionModel::moves_in(const WidthRow& row, const std::array<std::size_t, 2>& piece,
                                              const std::vector<Move>& at, const Part& part,
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
double CorrectionModel::reach(const WidthRow& row, const std::array<std::size_t, 2>& piece,
                              const Part& part) const {
  double sum = 0;
  for (std::size_t side = 0; side < 2 && !options_.glued; ++side) {
    if (!part.pieces.contains(piece[side])) continue;
    sum += options_.max_move_mm * (std::abs(row.by_move[side].x()) + std::abs(row.by_move[side].y())) +
           options_.max_turn_deg * std::abs(row.by_move[side].z());
  }
  return sum;
}

CorrectionModel::Part CorrectionModel::build(const std::vector<std::size_t>& pieces,
                                             const std::vector<Move>& at, bool by_action) {
  Part part;
  part.by_action = by_action;
  for (const std::size_t p : pieces) add_piece(p, part);
  for (std::size_t k = 0; k < shell_.pairs.size(); ++k) {
    if (part.pieces.contains(shell_.pairs[k].a) || part.pieces.contains(shell_.pairs[k].b))
      add_pair(k, at, part);
  }
  return part;
}

void CorrectionModel::read(const Part& part, const std::vector<double>& values, CorrectionChoice& out) const {
  const auto value = [&](int variable) { return values[static_cast<std::size_t>(variable)]; };
  for (const auto& [piece, v] : part.pieces) {
    out.touched[piece] = value(v.touched) > 0.5;
    const auto net = [&](std::size_t k) { return value(v.plus[k]) - value(v.minus[k]); };
    out.moves[piece] = {net(0), net(1), net(2)};
  }
  for (const auto& [pair, work] : part.edges) {
    for (std::size_t side = 0; side < 2; ++side) {
      out.depth[pair][side] = work.sand[side] >= 0 ? value(work.sand[side]) : 0.0;
      out.foot[pair][side] = work.ease[side] >= 0 ? value(work.ease[side]) : 0.0;
    }
  }
  for (const auto& [pair, lost] : part.given_up) out.given_up[pair] = value(lost) > 0.5;
}

void CorrectionModel::choose_part(const std::vector<std::size_t>& pieces, const std::vector<Move>& at,
                                  CorrectionChoice& out) {
  Part part = build(pieces, at, false);
  if (part.lost.empty()) return;
  MixedProgram::Terms first = part.count;
  for (const auto& [variable, weight] : part.lost) {
    first.emplace_back(variable, weight * static_cast<double>(pieces.size() + 1));
  }
  const int nodes =
      std::max(1, static_cast<int>(options_.max_search / std::max(1, part.program.row_count())));
  // Whole numbers throughout: within one of the bound is the optimum.
  const auto fewest =
      part.program.minimise(first, {.absolute_gap = 0.99, .max_nodes = nodes, .heuristics = false});
  out.proved = out.proved && fewest.proved;
  if (!fewest.feasible) return;
  double touched = 0;
  for (const auto& [variable, one] : part.count) touched += fewest.values[static_cast<std::size_t>(variable)];
  part.program.add_row(0, part.count, touched);
  for (const auto& [pair, lost] : part.given_up) {
    const double v = fewest.values[static_cast<std::size_t>(lost)];
    part.program.set_bounds(lost, v, v);
  }
  const auto least = part.program.minimise(
      part.work, {.absolute_gap = 0.01, .relative_gap = 0.02, .max_nodes = nodes, .heuristics = false});
  read(part, least.feasible ? least.values : fewest.values, out);
}

CorrectionChoice CorrectionModel::choose(const std::vector<Move>& at, bool helpers) {
  CorrectionChoice out{std::vector<char>(shell_.pieces.size(), 0), std::vector<Move>(shell_.pieces.size()),
                       std::vector<std::array<double, 2>>(shell_.pairs.size(), {0, 0}),
                       std::vector<std::array<double, 2>>(shell_.pairs.size(), {0, 0}),
                       std::vector<char>(shell_.pairs.size(), 0)};
  std::vector<char> candidates(shell_.pieces.size(), 0);
  const auto admit = [&](std::size_t piece) { candidates[piece] = shell_.pieces[piece].free; };
  for (std::size_t k = 0; k < shell_.pairs.size(); ++k) {
    if (!shell_.pairs[k].must_rise) continue;
    out.given_up[k] = 1;  // until a part of the shell says otherwise
    admit(shell_.pairs[k].a);
    admit(shell_.pairs[k].b);
  }
  if (helpers) {
    const std::vector<char> first = candidates;
    for (const ShellPair& p : shell_.pairs) {
      if (first[p.a]) admit(p.b);
      if (first[p.b]) admit(p.a);
    }
  }
  for (const std::vector<std::size_t>& pieces : connected(candidates)) choose_part(pieces, at, out);
  return out;
}

// Holds moves to tenths near the given ones, and moves that are not made to nothing.
void CorrectionModel::hold_to_tenths(const CorrectionChoice& choice, Part& part) {
  for (const auto& [piece, v] : part.pieces) {
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

CorrectionModel::Part CorrectionModel::settled(const std::vector<std::size_t>& pieces,
                                               const CorrectionChoice& choice, bool by_action) {
  Part part = build(pieces, choice.moves, by_action);
  for (const auto& [piece, v] : part.pieces) part.program.set_bounds(v.touched, 1, 1);
  for (const auto& [pair, lost] : part.given_up) {
    part.program.set_bounds(lost, choice.given_up[pair], choice.given_up[pair]);
  }
  return part;
}

CorrectionChoice CorrectionModel::refine(const CorrectionChoice& choice) {
  CorrectionChoice out = choice;
  for (const std::vector<std::size_t>& pieces : connected(choice.touched)) {
    const Part part = settled(pieces, choice, true);
    const auto least = part.program.minimise(part.work, kWorkLimits);
    if (least.feasible) read(part, least.values, out);
  }
  return out;
}

CorrectionChoice CorrectionModel::in_tenths(const CorrectionChoice& choice) {
  CorrectionChoice out = choice;
  for (const std::vector<std::size_t>& pieces : connected(choice.touched)) {
    for (const bool same_edges : {true, false}) {
      Part part = settled(pieces, choice, false);
      hold_to_tenths(choice, part);
      for (const auto& [pair, work] : part.edges) {
        for (std::size_t side = 0; side < 2 && same_edges; ++side) {
          if (work.sand[side] >= 0 && choice.depth[pair][side] < kNoSand)
            part.program.set_bounds(work.sand[side], 0, 0);
          if (work.ease[side] >= 0 && choice.foot[pair][side] < kNoSand)
            part.program.set_bounds(work.ease[side], 0, 0);
        }
      }
      const auto least = part.program.minimise(part.work, kWorkLimits);
      if (!least.feasible) continue;
      read(part, least.values, out);
      break;
    }
  }
  return out;
}

}  // namespace interstice::rework
