#include "refill/refill_words.h"

#include <gtest/gtest.h>

#include <sstream>

namespace interstice::refill {
namespace {

// Forty hollows in one pour: nothing is lost by folding, and no line is wider than a terminal beside its bench.
TEST(RefillWords, LinesAreFoldedAndTellEveryHollow) {
  RefillDocument d;
  RefillPour pour;
  pour.tilt_deg = 60;
  pour.up = "A07";
  for (std::size_t k = 0; k < 40; ++k) {
    Hollow h;
    h.tiles = {"A" + std::to_string(10 + k), "B" + std::to_string(10 + k)};
    h.length_mm = 20, h.width_mm = 2, h.opening_mm2 = 40, h.best_photo = "photo_07";
    d.hollows.push_back(h);
    d.advice.push_back(
        {Way::syringe, std::string(160, 'x') + " narrower than that fills, push resin in with a syringe"});
    pour.hollows.push_back(k);
    pour.tape.push_back(h.tiles);
  }
  d.pours = {pour};
  d.fill_limit_words = "too few seams filled to tell the narrowest that fills";
  const std::string text = refill_list(d);
  std::istringstream lines(text);
  std::string all;
  for (std::string line; std::getline(lines, line);) {
    EXPECT_TRUE(line.size() <= 110 || line.find(std::string(160, 'x')) != std::string::npos) << line;
    EXPECT_FALSE(line.empty());
    all += line + " ";
  }
  for (const Hollow& h : d.hollows) EXPECT_NE(all.find(h.tiles[0] + "-" + h.tiles[1]), std::string::npos);
}

}  // namespace
}  // namespace interstice::refill
