// From the choice of the linear model to corrections a maker can carry out: rounded moves, stretches of
// sanding laid out on the moved outlines in 3-D, and the widths that follow. Nothing linear here.
#pragma once

#include <optional>
#include <vector>

#include "rework/correction_model.h"

namespace interstice::rework {

struct LaidOut {
  ShellChange change;                           // by piece
  std::vector<std::optional<double>> after_mm;  // by pair: narrowest width where a piece was touched
};

double rounded_tenth(double x);

// Lays out the choice. Edges are sanded where the choice says so and, with `anywhere`, wherever a touched
// piece's seam is short.
LaidOut lay_out(const CorrectionShell& shell, const CorrectionOptions& options,
                const CorrectionChoice& choice, bool anywhere);

// Narrowest width of a pair under the changes; empty beyond the shell's reach.
std::optional<double> width_after(const CorrectionShell& shell, std::size_t pair, const ShellChange& change);

// Widths of all pairs of touched pieces.
void measure(const CorrectionShell& shell, LaidOut& out, int threads);

struct Shortfall {
  std::size_t pair = 0;
  double below_mm = 0, above_mm = 0;  // of the bound it misses
};
// Pairs that miss their bounds; those given up must only not become narrower.
std::vector<Shortfall> shortfalls(const CorrectionShell& shell, const LaidOut& out,
                                  const std::vector<char>& given_up);

}  // namespace interstice::rework
