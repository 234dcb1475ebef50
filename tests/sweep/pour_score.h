// What `refill` says of a poured scene against the renderer's truth, hollow by hollow.
//
// A true hollow with an opening of 6 mm2 or more counts. It is found when a reported one lies within 3 mm of it on
// the map, or within half its length. What matches no true hollow and no burst bubble is false. Seams count as the
// dry sweep counts them: mouth up to 8 mm, shared length from 5 mm.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace interstice::sweep {

struct FoundHollow {
  double opening_ratio = 0;  // reported over true
  bool volume_inside = false;
  double range_width = 0;  // upper over lower end of the stated volume
  double off_mm = 0;       // on the map
  double mouth_mm = 0;     // true, of its seam
};

struct PourScore {
  int exit_code = 0;
  int hollows = 0;
  std::vector<FoundHollow> found;
  std::vector<std::string> missed, false_ones, hollow_called_filled;  // seams, as A01-A02
  int reported = 0;                                                   // hollows and pits
  int pits = 0, pits_found = 0;
  int filled = 0, filled_called_filled = 0;
};

PourScore scored(const std::string& refill_json, const std::string& truth_json);

// What is asked of a row, with how far it got. NaN: nothing to say.
struct PourFigures {
  int runs = 0, failed_runs = 0, hollows = 0, reported = 0, false_ones = 0, called_filled = 0;
  int filled = 0, pits = 0, pits_found = 0;
  double found = 0, opening_within_quarter = 0, opening_median = 0, volume_inside = 0, range_median = 0;
  double off_median_mm = 0, filled_called_filled = 0;
};

PourFigures figures(const std::vector<PourScore>& runs);

// The demands that a row's figures fall short of, in words; empty: none.
std::vector<std::string> shortfalls(const PourFigures& f);

struct PourRow {
  std::string label;
  PourFigures figures;
};

// The worst rows first: most shortfalls, then fewest hollows found; the table after a line that names them.
std::string pour_table(std::vector<PourRow> rows);

}  // namespace interstice::sweep
