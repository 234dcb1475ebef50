// The poured sweep's arithmetic on numbers worked out by hand.
#include "sweep/pours.h"

#include <gtest/gtest.h>

#include <cmath>

#include "renderer/scene.h"
#include "sweep/page.h"

namespace interstice::sweep {
namespace {

constexpr const char* kPouredTruth = R"({"seams": [
  {"tiles": ["A01", "A02"], "mouth_mm": 2.0, "length_mm": 30, "poured": "void"},
  {"tiles": ["A02", "A03"], "mouth_mm": 2.4, "length_mm": 30, "poured": "void"},
  {"tiles": ["A03", "A04"], "mouth_mm": 3.5, "length_mm": 20, "poured": "filled"},
  {"tiles": ["A04", "A05"], "mouth_mm": 3.6, "length_mm": 20, "poured": "filled"},
  {"tiles": ["A01", "A05"], "mouth_mm": 3.5, "length_mm": 4, "poured": "filled"},
  {"tiles": ["A05", "A06"], "mouth_mm": 9.0, "length_mm": 30, "poured": "filled"}],
 "voids": [
  {"tiles": ["A01", "A02"], "map": [0, 0], "mouth_mm": 2.0, "length_mm": 12, "opening_mm2": 20, "volume_ml": 0.1},
  {"tiles": ["A02", "A03"], "map": [40, 0], "mouth_mm": 2.4, "length_mm": 4, "opening_mm2": 10, "volume_ml": 0.05},
  {"tiles": ["A02", "A03"], "map": [60, 0], "mouth_mm": 2.4, "length_mm": 4, "opening_mm2": 5, "volume_ml": 0.01},
  {"tiles": ["A04"], "map": [0, 50], "mouth_mm": 0, "length_mm": 2, "opening_mm2": 3, "volume_ml": 0.003,
   "bubble": true}]})";

TEST(PouredSweep, ScoresByHand) {
  const PourScore s = scored(R"({"seams": [
      {"tiles": ["A02", "A01"], "state": "hollow"}, {"tiles": ["A02", "A03"], "state": "filled"},
      {"tiles": ["A03", "A04"], "state": "filled"}, {"tiles": ["A04", "A05"], "state": "unseen"},
      {"tiles": ["A01", "A05"], "state": "hollow"}],
    "hollows": [
      {"tiles": ["A01", "A02"], "map": [5, 0], "opening_mm2": 16, "volume_ml": [0.04, 0.12]},
      {"tiles": ["A01", "A02"], "map": [-5.9, 0], "opening_mm2": 2, "volume_ml": [0.5, 0.6]},
      {"tiles": ["A03", "A04"], "map": [43.2, 0], "opening_mm2": 10, "volume_ml": [0.04, 0.12]},
      {"tiles": ["A04", "A05"], "map": [0, 47.5], "opening_mm2": 3, "volume_ml": [0.002, 0.004]}]})",
                             kPouredTruth);
  EXPECT_EQ(s.hollows, 2);  // the third is smaller than what counts
  ASSERT_EQ(s.found.size(), 1u);
  EXPECT_NEAR(s.found[0].opening_ratio, 0.8, 1e-12);  // of the nearer of two
  EXPECT_TRUE(s.found[0].volume_inside);
  EXPECT_NEAR(s.found[0].range_width, 3, 1e-12);
  EXPECT_NEAR(s.found[0].off_mm, 5, 1e-12);
  EXPECT_EQ(s.missed, std::vector<std::string>{"A02-A03"});
  EXPECT_EQ(s.false_ones, std::vector<std::string>{"A03-A04"});
  EXPECT_EQ(s.hollow_called_filled, std::vector<std::string>{"A02-A03"});
  EXPECT_EQ(s.reported, 4);
  EXPECT_EQ(s.pits, 1);
  EXPECT_EQ(s.pits_found, 1);
  EXPECT_EQ(s.filled, 2);  // neither the short one nor the wide one
  EXPECT_EQ(s.filled_called_filled, 1);
}

PourScore of(int hollows, int found, double ratio, bool inside, double range) {
  PourScore s;
  s.hollows = hollows;
  s.found.assign(static_cast<std::size_t>(found), {ratio, inside, range, 0.5, 2});
  s.missed.assign(static_cast<std::size_t>(hollows - found), "A01-A02");
  s.reported = found;
  s.filled = s.filled_called_filled = 10;
  return s;
}

TEST(PouredSweep, FiguresOverRunsAndWhatTheyFallShortIn) {
  const PourFigures good = figures({of(10, 10, 0.9, true, 3), of(10, 10, 1.1, true, 5)});
  EXPECT_EQ(good.hollows, 20);
  EXPECT_EQ(good.found, 1);
  EXPECT_EQ(good.opening_within_quarter, 1);
  EXPECT_NEAR(good.range_median, 4, 1e-12);
  EXPECT_TRUE(shortfalls(good).empty());
  PourScore one = of(10, 9, 0.7, false, 9);
  one.hollow_called_filled = {"A01-A02"};
  one.false_ones = {"A03-A04"};
  one.filled_called_filled = 9;
  EXPECT_EQ(shortfalls(figures({one})),
            (std::vector<std::string>{"hollow called filled", "found", "false", "opening", "volume", "range",
                                      "filled seams"}));
  PourScore refused = of(5, 0, 1, true, 1);
  refused.exit_code = 3;
  const PourFigures f = figures({refused});
  EXPECT_TRUE(std::isnan(f.opening_within_quarter));
  EXPECT_EQ(shortfalls(f).front(), "refused");
}

TEST(PouredSweep, WorstRowsComeFirst) {
  const std::string table = pour_table({{"well", figures({of(10, 10, 1, true, 3)})},
                                        {"worse", figures({of(10, 9, 1, true, 3)})},
                                        {"worst", figures({of(10, 8, 0.5, true, 3)})}});
  EXPECT_LT(table.find("| worst |"), table.find("| worse |"));
  EXPECT_LT(table.find("| worse |"), table.find("| well |"));
  EXPECT_NE(table.find("8 of 10"), std::string::npos);
}

TEST(PouredSweep, EveryPointIsASceneThatHasHollowsAndFilledSeams) {
  for (const PourPoint& point : pour_points()) {
    const renderer::SceneOptions dry = dry_scene(point, 1), poured = poured_scene(point, 1);
    EXPECT_NO_THROW(renderer::check_options(poured)) << point.label;
    EXPECT_TRUE(dry.resin.colour.empty()) << point.label;
    EXPECT_EQ(dry.look.woods, poured.look.woods) << point.label;
    EXPECT_NE(dry.camera.session, poured.camera.session) << point.label;
  }
  const renderer::Scene scene = renderer::make_scene(poured_scene(pour_points()[0], 1));
  ASSERT_TRUE(scene.poured);
  int filled = 0;
  for (const char f : scene.poured->filled) filled += f;
  EXPECT_GE(filled, 5);
  EXPECT_GE(scene.poured->voids.size(), 10u);
}

}  // namespace
}  // namespace interstice::sweep
