// The result in words.
#include "report/bench_list.h"

#include <gtest/gtest.h>

namespace interstice {
namespace {

seams::FitSeam seam(const std::string& a, const std::string& b, double width_mm, seams::Verdict verdict) {
  seams::FitSeam s;
  s.tiles = {a, b};
  s.narrowest_mm = width_mm;
  s.u95_mm = 0.12;
  s.length_mm = 30;
  s.tight_length_mm = verdict == seams::Verdict::too_tight ? 12 : 0;
  s.verdict = verdict;
  return s;
}

// Worst first; below a seam that photos could settle, from where to take them.
TEST(BenchList, SaysWorstFirstAndFromWhereToPhotographAgain) {
  seams::FitDocument fit;
  fit.smallest_fill_mm = 3;
  fit.seams = {seam("A01", "A02", 3.05, seams::Verdict::doubtful),
               seam("A02", "A03", 2.1, seams::Verdict::too_tight),
               seam("A03", "A04", 4.0, seams::Verdict::clear)};
  fit.seams[0].advice = {"photograph it from 7 o'clock"};
  fit.seams[0].best_photo = "photo_03";
  EXPECT_EQ(
      report::bench_list(fit),
      "A02 - A03       2.10 mm +- 0.12  too tight over 12 of 30 mm\n"
      "A01 - A02       3.05 mm +- 0.12  doubtful  (see photo_03)\n"
      "    photograph it from 7 o'clock\n"
      "0 of 0 pieces placed; 3 seams: 1 too tight, 1 doubtful, 0 unseen, 1 clear (smallest fill 3.00 mm)\n");
}

TEST(BenchList, OneOfAKindIsOne) {
  seams::FitDocument fit;
  fit.smallest_fill_mm = 3;
  fit.tiles.resize(1);
  fit.seams = {seam("A01", "A02", 4.0, seams::Verdict::clear)};
  EXPECT_NE(report::bench_list(fit).find(" of 1 piece placed; 1 seam: 0 too tight"), std::string::npos)
      << report::bench_list(fit);
}

}  // namespace
}  // namespace interstice
