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
  EXPECT_EQ(report::bench_list(fit),
            "A02 - A03       2.10 mm +- 0.12  too tight over 12 of 30 mm\n"
            "A01 - A02       3.05 mm +- 0.12  doubtful  (see photo_03)\n"
            "    photograph it from 7 o'clock\n"
            "0 of 0 pieces placed; 3 seams: 1 too tight, 0 pinched, 1 doubtful, 0 unseen, 1 clear (smallest "
            "fill 3.00 mm)\n");
}

// A pinched seam says the width it is judged by; it comes before the doubtful ones.
TEST(BenchList, NamesTheWidthBehindTheMouth) {
  seams::FitDocument fit;
  fit.smallest_fill_mm = 3;
  fit.seams = {seam("A01", "A02", 3.6, seams::Verdict::doubtful),
               seam("A02", "A03", 3.7, seams::Verdict::pinched),
               seam("A03", "A04", 3.9, seams::Verdict::pinched)};
  fit.seams[0].doubt = seams::Doubt::throat;
  for (seams::FitSeam& s : fit.seams) s.throat_mm = 3.1, s.throat_u95_mm = 0.3;
  fit.seams[2].throat_mm = 2.25;
  fit.seams[2].pinched_length_mm = 14;
  EXPECT_EQ(
      report::bench_list(fit),
      "A03 - A04       3.90 mm +- 0.12  pinched: 2.25 mm +- 0.30 wide behind the mouth over 14 of 30 mm\n"
      "A02 - A03       3.70 mm +- 0.12  pinched: 3.10 mm +- 0.30 wide behind the mouth\n"
      "A01 - A02       3.60 mm +- 0.12  doubtful: 3.10 mm +- 0.30 wide behind the mouth\n"
      "0 of 0 pieces placed; 3 seams: 0 too tight, 2 pinched, 1 doubtful, 0 unseen, 0 clear (smallest fill "
      "3.00 mm)\n");
}

// A piece missing from a ring that stands is not one of a ring still to come.
TEST(BenchList, TellsMissingPiecesFromRingsToCome) {
  seams::FitDocument fit;
  const auto add = [&](const char* label, int ring, plan::TileState state) {
    seams::FitTile tile;
    tile.label = label, tile.ring = ring, tile.state = state;
    fit.tiles.push_back(tile);
  };
  add("A01", 1, plan::TileState::placed);
  add("B01", 2, plan::TileState::placed);
  add("B02", 2, plan::TileState::absent);
  add("C01", 3, plan::TileState::absent);
  add("C02", 3, plan::TileState::unseen);
  add("D01", 4, plan::TileState::absent);
  const std::string list = report::bench_list(fit);
  EXPECT_EQ(list.find("absent pieces: B02\nrings not begun: 3 4 (2 pieces)\nunseen pieces: C02\n"), 0u)
      << list;
}

TEST(BenchList, OneOfAKindIsOne) {
  seams::FitDocument fit;
  fit.smallest_fill_mm = 3;
  fit.tiles.resize(1);
  fit.seams = {seam("A01", "A02", 4.0, seams::Verdict::clear)};
  EXPECT_NE(report::bench_list(fit).find(" of 1 piece placed; 1 seam: 0 too tight"), std::string::npos)
      << report::bench_list(fit);
}

// Cells that spreadsheets would work out as formulas (first character = + - @, tab, CR) are text; numbers
// stay numbers.
TEST(BenchList, NoCellIsAFormula) {
  seams::FitDocument fit;
  for (const char* label : {"=1+1", "+A", "-B07", "@SUM(A1)", "=HYPERLINK(\"x\",\"y\")", "B-07"}) {
    seams::FitSeam s = seam("A01", label, -0.25, seams::Verdict::too_tight);
    s.map = {-3.5, 2};
    fit.seams.push_back(s);
  }
  const std::string csv = report::seams_csv(fit);
  EXPECT_NE(csv.find("A01,'=1+1,-0.250,"), std::string::npos) << csv;
  EXPECT_NE(csv.find("A01,'+A,"), std::string::npos);
  EXPECT_NE(csv.find("A01,'-B07,"), std::string::npos);
  EXPECT_NE(csv.find("A01,'@SUM(A1),"), std::string::npos);
  EXPECT_NE(csv.find("A01,\"'=HYPERLINK(\"\"x\"\",\"\"y\"\")\","), std::string::npos);
  EXPECT_NE(csv.find("A01,B-07,"), std::string::npos);
  EXPECT_NE(csv.find(",-3.500,2.000,"), std::string::npos);
}

}  // namespace
}  // namespace interstice
