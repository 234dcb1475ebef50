// From the choice of the linear model to corrections a maker can carry out: rounded moves, stretches of
// sanding laid out on the moved outlines in 3-D, and the widths that follow. Nothing linear here.
#pragma once

#include <optional>
#include <vector>

#include "rework/correction_model.h"

namespace interstice::rework {

struct LaidOut {
  ShellChange change;
  ByPair<std::optional<PairWidths>> after;  // where a piece was touched
};

double rounded_tenth(double x);

// Lays out the choice. Edges are sanded and walls eased where the choice says so and, with `anywhere`, wherever a
// touched piece's seam is short.
LaidOut lay_out(const CorrectionShell& shell, const CorrectionOptions& options,
                const CorrectionChoice& choice, bool anywhere);

// A pair's widths under the changes; the mouth no more than the shell's reach. And as it stands.
PairWidths widths_after(const CorrectionShell& shell, PairIndex pair, const ShellChange& change);
double mouth_after(const CorrectionShell& shell, PairIndex pair, const ShellChange& change);
PairWidths widths_now(const ShellPair& pair);

// The widths of all pairs of touched pieces.
void measure(const CorrectionShell& shell, LaidOut& out, int threads);

struct Shortfall {
  PairIndex pair;
  Missing missing;
};
// Pairs that miss their bounds; those given up must only not become narrower.
std::vector<Shortfall> shortfalls(const CorrectionShell& shell, const LaidOut& out,
                                  const ByPair<char>& given_up);

}  // namespace interstice::rework
