#include "rework/milp.h"

#include <Cbc_C_Interface.h>

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <memory>
#include <stdexcept>
#include <string>

namespace interstice::rework {
namespace {

struct Deleter {
  void operator()(Cbc_Model* model) const { Cbc_deleteModel(model); }
};

// Column-wise matrix without repeated entries.
struct Columns {
  std::vector<CoinBigIndex> start;
  std::vector<int> row;
  std::vector<double> value;
};

MixedProgram::Terms merged(MixedProgram::Terms terms) {
  std::stable_sort(terms.begin(), terms.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  MixedProgram::Terms out;
  for (const auto& [variable, coefficient] : terms) {
    if (!out.empty() && out.back().first == variable) {
      out.back().second += coefficient;
    } else {
      out.emplace_back(variable, coefficient);
    }
  }
  return out;
}

// The rows' terms by column, each column's in the order of the rows.
template <typename Rows>
Columns columns_of(const Rows& rows, std::size_t variables) {
  Columns matrix;
  matrix.start.assign(variables + 1, 0);
  for (const auto& row : rows) {
    for (const auto& term : row.terms) ++matrix.start[static_cast<std::size_t>(term.first) + 1];
  }
  for (std::size_t i = 0; i < variables; ++i) matrix.start[i + 1] += matrix.start[i];
  matrix.row.resize(static_cast<std::size_t>(matrix.start[variables]));
  matrix.value.resize(matrix.row.size());
  std::vector<CoinBigIndex> next(matrix.start.begin(), matrix.start.end() - 1);
  for (std::size_t r = 0; r < rows.size(); ++r) {
    for (const auto& [variable, coefficient] : rows[r].terms) {
      const auto place = static_cast<std::size_t>(next[static_cast<std::size_t>(variable)]++);
      matrix.row[place] = static_cast<int>(r);
      matrix.value[place] = coefficient;
    }
  }
  return matrix;
}

// Quiet, on one thread, the same search every time.
void set_limits(Cbc_Model* model, const MixedProgram::Limits& limits) {
  Cbc_setObjSense(model, 1);
  Cbc_setLogLevel(model, 0);
  Cbc_setParameter(model, "log", "0");
  Cbc_setParameter(model, "slog", "0");
  Cbc_setParameter(model, "threads", "0");
  Cbc_setParameter(model, "randomCbcSeed", "1");
  Cbc_setParameter(model, "maxNodes", std::to_string(limits.max_nodes).c_str());
  using Root = MixedProgram::Limits::Root;
  const auto turn_off = [&](std::initializer_list<const char*> parts) {
    for (const char* part : parts) Cbc_setParameter(model, part, "off");
  };
  if (limits.root == Root::cheap) turn_off({"feasibilityPump", "cutsOnOff"});
  if (limits.root == Root::nodes_alone) turn_off({"heuristicsOnOff", "preprocess"});
  Cbc_setAllowableGap(model, limits.absolute_gap);
  Cbc_setAllowableFractionGap(model, limits.relative_gap);
}

}  // namespace

int MixedProgram::add_variable(double low, double high, bool integer) {
  low_.push_back(low);
  high_.push_back(high);
  integer_.push_back(integer ? 1 : 0);
  return variable_count() - 1;
}

void MixedProgram::add_row(double low, Terms terms, double high) {
  rows_.push_back({low, high, merged(std::move(terms))});
}

void MixedProgram::set_bounds(int variable, double low, double high) {
  low_[static_cast<std::size_t>(variable)] = low;
  high_[static_cast<std::size_t>(variable)] = high;
}

MixedProgram::Solution MixedProgram::minimise(const Terms& objective, const Limits& limits) const {
  const Solution found = solve(objective, limits);
  if (found.feasible || found.proved || limits.root == Limits::Root::all) return found;
  Limits all = limits;
  all.root = Limits::Root::all;
  return solve(objective, all);
}

MixedProgram::Solution MixedProgram::solve(const Terms& objective, const Limits& limits) const {
  const std::size_t n = low_.size();
  const Columns matrix = columns_of(rows_, n);
  std::vector<double> row_low, row_high;
  for (const Row& row : rows_) {
    row_low.push_back(row.low);
    row_high.push_back(row.high);
  }
  std::vector<double> cost(n, 0.0);
  for (const auto& [variable, coefficient] : objective)
    cost[static_cast<std::size_t>(variable)] += coefficient;

  const std::unique_ptr<Cbc_Model, Deleter> model(Cbc_newModel());
  Cbc_loadProblem(model.get(), static_cast<int>(n), static_cast<int>(rows_.size()), matrix.start.data(),
                  matrix.row.data(), matrix.value.data(), low_.data(), high_.data(), cost.data(),
                  row_low.data(), row_high.data());
  for (std::size_t i = 0; i < n; ++i) {
    if (integer_[i]) Cbc_setInteger(model.get(), static_cast<int>(i));
  }
  set_limits(model.get(), limits);
  Cbc_solve(model.get());

  Solution out;
  const bool infeasible = Cbc_isProvenInfeasible(model.get()) != 0;
  out.proved = infeasible || Cbc_isProvenOptimal(model.get()) != 0;
  const double* best = infeasible ? nullptr : Cbc_bestSolution(model.get());
  if (best == nullptr && out.proved && !infeasible)
    best = Cbc_getColSolution(model.get());  // no integers: a plain LP
  if (best == nullptr) return out;
  out.feasible = true;
  out.values.assign(best, best + n);
  for (std::size_t i = 0; i < n; ++i) {
    if (integer_[i]) out.values[i] = std::round(out.values[i]);
    out.objective += cost[i] * out.values[i];
  }
  return out;
}

}  // namespace interstice::rework
