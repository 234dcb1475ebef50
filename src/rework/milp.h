// A small mixed-integer linear program, solved by COIN-OR Cbc. Minimises; deterministic: one thread, limits
// by count and never by time.
#pragma once

#include <limits>
#include <utility>
#include <vector>

namespace interstice::rework {

class MixedProgram {
 public:
  static constexpr double kInfinity = std::numeric_limits<double>::infinity();
  using Terms =
      std::vector<std::pair<int, double>>;  // variable, coefficient; a variable may stand more than once

  int add_variable(double low, double high, bool integer = false);
  void add_row(double low, Terms terms, double high);

  int variable_count() const { return static_cast<int>(low_.size()); }
  // Fixes or frees a variable for the next solve.
  void set_bounds(int variable, double low, double high);

  void make_continuous(int variable) { integer_[static_cast<std::size_t>(variable)] = 0; }
  // Makes a plain linear program of it.
  void drop_integers() { integer_.assign(integer_.size(), 0); }

  struct Limits {
    double absolute_gap = 1e-6;  // a solution this near the bound is good enough
    double relative_gap = 0;
    int max_nodes = 20000;
    // How much Cbc does before it branches. Rounding, diving and its rewriting of the program are cheap; the
    // feasibility pump and cuts pay only where the linear relaxation is far from whole. For large programs with
    // bounds that are good from the start the nodes alone are faster still; found no solution, all is used after all.
    enum class Root { all, cheap, nodes_alone } root = Root::all;
  };
  struct Solution {
    bool feasible = false;
    bool proved = false;  // within the gaps of the bound, or infeasible; false when the node limit came first
    double objective = 0;
    std::vector<double> values;
  };
  Solution minimise(const Terms& objective, const Limits& limits) const;

  int row_count() const { return static_cast<int>(rows_.size()); }

 private:
  Solution solve(const Terms& objective, const Limits& limits) const;
  struct Row {
    double low, high;
    Terms terms;
  };
  std::vector<double> low_, high_;
  std::vector<char> integer_;
  std::vector<Row> rows_;
};

}  // namespace interstice::rework
