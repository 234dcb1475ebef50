// Corrections: the least work that makes every seam fillable, as a work order on the measured outlines.
//
// Model. Pieces are rigid solids standing on the form (mouth.h). Each may be slid and turned on the form and
// sanded or eased along stretches of its edges (correction_motion.h), within bounds. Seams whose verdict is "too
// tight", "pinched" or "doubtful" have to be raised, mouth and throat, until they are proved clear: the width to
// reach is the smallest fill and the guard band of that width (core/verdict.h). Seams that are clear must stay
// proved clear, no throat becomes narrower unless it stays proved; seams not wider than the limit (8 mm) must not open beyond it (same guard; corners that face each other
// across a junction are no seam); a seam that was not seen, or faces an unseen piece, must not become
// narrower than it seems (unseen pieces stand where the plan has them); the place of an absent piece keeps
// the smallest fill round it, or what it has.
//
// Objective, in this order: fewest seams given up (weighted by their value), fewest pieces touched, least
// work: travel in mm (turns count by the travel of the rim) plus sanded area in mm^2 over 3 mm (half of it where a
// wall is eased). Solved as
// mixed-integer linear programs on widths linearised at the narrowest points, linearised again at the result;
// moves are rounded to 0.1 mm and 0.1 deg, sanding depths up to 0.1 mm, easing up to 0.5 deg, stretches are laid out, and the
// rounded corrections are applied to the outlines in 3-D. What that shows is what is returned. Deterministic.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "plan/plan.h"
#include "seams/fit_document.h"

namespace interstice::rework {

struct CorrectionOptions {
  double max_move_mm = 3.0;  // in each direction: hot glue and tape give a few millimetres
  double max_turn_deg = 3.0;
  double max_sand_mm = 2.0;                // off one edge
  double limit_mm = core::kWidestSeam_mm;  // no seam that is narrower may be opened beyond
  bool glued = false;                      // nothing can be moved any more
  bool ease = true;                        // walls may be eased where only the throat is narrow
  enum class Prefer { least, sand, move } prefer = Prefer::least;
  std::vector<std::string> locked;  // labels of pieces that must not be touched
  // What freeing each seam of the document is worth (say, the length of seam behind it); empty: its length
  // that is too tight.
  std::vector<double> seam_value;
  // Branch-and-bound nodes times rows of a program after which the search stops with the best it has. The
  // test scans need a tenth; 90 seams that are not clear need half.
  double max_search = 1e6;
  int threads = 1;
  void check(const seams::FitDocument& fit) const;  // throws InputError: option, value, limit
};

struct CorrectionResult {
  std::vector<seams::Correction>
      corrections;  // in working order: most valuable piece first; each piece's sanding, then its move
  std::vector<std::string> refused;  // one line for each seam that can't be had
  std::size_t pieces_touched = 0;
  bool proved_fewest =
      true;  // in the linear model; false: the search was stopped before, fewer pieces may do
  std::size_t pieces_at_least = 0;  // no fewer can do, in the linear model; 0: not known
  double wood_mm3 = 0;              // sanded off: depth x stretch x height of the wall
  double movement_mm = 0;           // sum of |along| + |towards pole| + rim travel of turns
  struct SeamAfter {
    std::array<std::string, 2> tiles;
    double before_mm = 0, after_mm = 0, needed_mm = 0;
    std::optional<double> throat_before_mm, throat_after_mm, throat_needed_mm;  // where one is known
    bool had_to_rise = false, reached = false;
  };
  std::vector<SeamAfter> seams;  // every seam of a touched piece and every one that had to rise
};

CorrectionResult propose_corrections(const seams::FitDocument& fit, const plan::Plan& plan,
                                     const CorrectionOptions& options = {});

// Puts the work order into the document; that it may not be the least, as a warning.
void put_corrections(CorrectionResult work, seams::FitDocument& fit);

// The document as it would be measured after the corrections: outlines, widths, lengths, throats and
// verdicts. A seam's u95 is taken over. Throws InputError for an unknown label or a piece that was not
// measured.
seams::FitDocument apply_corrections(const seams::FitDocument& fit, const plan::Plan& plan,
                                     const std::vector<seams::Correction>& corrections, int threads = 1);

// Widths before and after, for printing a what-if: seams that change by more than 0.005 mm or are not clear.
struct WidthChange {
  std::array<std::string, 2> tiles;
  double before_mm = 0, after_mm = 0, u95_mm = 0;
  std::optional<double> throat_before_mm, throat_after_mm;
  seams::Verdict before = seams::Verdict::unseen, after = seams::Verdict::unseen;
};
std::vector<WidthChange> width_changes(const seams::FitDocument& before, const seams::FitDocument& after);

// A list of corrections from a file: a fit.json, an object with "corrections", or the list itself.
std::vector<seams::Correction> parse_corrections(const std::string& json_text, const std::string& file);

// Lines in bench words, in working order, refusals last:
// "sand B07 where it faces C03: 0.6 mm over 18 mm".
std::string work_order(const seams::FitDocument& fit);
// The steps of the work order as indices into the corrections: what is done to one edge is one step, whatever lies
// between; so is a move.
using WorkStep = std::vector<std::size_t>;
std::vector<WorkStep> work_steps(const seams::FitDocument& fit);
// "ease the wall of C12 towards D06 by 3 degrees over 18 mm, from the end at D05, face edge unchanged; there too sand
// 0.4 mm over 6 mm, from the end at D05", without what it frees.
std::string step_words(const seams::FitDocument& fit, const WorkStep& step);
// Why a step is asked for: the seams it frees, as they are now; "" where the document does not say.
std::string step_reason(const seams::FitDocument& fit, const WorkStep& step);
// The seams a step frees, each once, with their widths after all corrections.
std::vector<seams::Correction::Freed> freed_by_step(const seams::FitDocument& fit, const WorkStep& step);
// One correction alone.
std::string correction_words(const seams::Correction& correction);

}  // namespace interstice::rework
