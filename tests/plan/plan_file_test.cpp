// A plan read, written and read again stays the same; loops at outlines' corners.
#include <gtest/gtest.h>

#include "core/errors.h"
#include "plan/plan.h"

namespace interstice {
namespace {

std::string plan_with(const std::string& outline) {
  return R"({"units": "mm", "profile": [[0, 50], [20, 47.5], [40, 38], [55, 20], [60, 0]],
             "tile_thickness": 14, "tiles": [{"label": "L", "outline": )" +
         outline + "}]}";
}

geometry::Polygon outline_of(const std::string& outline) {
  return plan::parse_plan(plan_with(outline), "plan.json").tiles[geometry::TileIndex(0)].outline;
}

TEST(PlanFile, ReadsBackAsItWasWritten) {
  for (const char* outline : {
           "[[0, 0], [20, 0], [20, 20], [0, 20]]",
           "[[0, 0], [0, 20], [20, 20], [20, 0]]",  // clockwise
           // Closer than the file's last digit: repeated once written.
           "[[0, 0], [20, 0], [20, 0.00004], [20, 20], [0.00003, 20], [0, 20], [0.00002, 0]]",
           // Just clear of the first edge, on it once written: the loop beyond it is under 0.5 %.
           "[[0, 0], [20, 0], [20, 20], [19.95, 0.00001], [19.9, 20], [0, 20]]",
           "[[0, 0], [20, 0], [20, 20], [10, 20], [10.3, 20.3], [10, 20.6], [9.7, 20.2], [0, 20]]",
       }) {
    SCOPED_TRACE(outline);
    const std::string once = plan::write_plan(plan::parse_plan(plan_with(outline), "plan.json"));
    EXPECT_EQ(plan::write_plan(plan::parse_plan(once, "plan.json")), once);
  }
}

// Touching an edge half-way makes two pieces of one: no loop at a corner, and nobody can say which is meant.
TEST(PlanFile, AnOutlineThatTouchesItselfIsRefusedBeforeItIsWritten) {
  try {
    outline_of("[[0, 0], [20, 0], [20, 20], [1, 0.00001], [0, 20]]");
    FAIL();
  } catch (const core::InputError& e) {
    EXPECT_STREQ(e.what(), "plan.json: tiles[0].outline: the outline crosses itself (edges 0 and 2)");
  }
}

// The corner (20, 20) overshot: its sides cross at it and go on for 0.5 mm.
TEST(PlanFile, ASmallLoopIsCutAtItsCrossing) {
  const geometry::Polygon outline = outline_of("[[0, 0], [20, 0], [20, 20.5], [20.5, 20], [0, 20]]");
  ASSERT_EQ(outline.size(), 4u);
  EXPECT_EQ(outline[2], Eigen::Vector2d(20, 20));
  EXPECT_DOUBLE_EQ(geometry::signed_area(outline), 400);
}

// The loop's own two corners and the crossing enclose 100 of 250 square mm.
TEST(PlanFile, ALargeLoopOfTwoCornersIsRefused) {
  EXPECT_THROW(outline_of("[[0, 0], [20, 20], [20, 0], [0, 20], [-5, 10]]"), core::InputError);
}

std::string plan_made(const std::string& keys) {
  std::string text = plan_with("[[0, 0], [20, 0], [20, 20], [0, 20]]");
  return text.insert(1, keys);
}

TEST(PlanFile, SaysHowBacksAreMadeAndWhatTurningLeaves) {
  const plan::Plan plain = plan::parse_plan(plan_made(""), "plan.json");
  EXPECT_EQ(plain.back, plan::Back::flat);
  EXPECT_FALSE(plain.finished_wall);
  const plan::Plan made =
      plan::parse_plan(plan_made(R"("back": "fitted", "finished_wall": [2, 12.5], )"), "plan.json");
  EXPECT_EQ(made.back, plan::Back::fitted);
  ASSERT_TRUE(made.finished_wall);
  EXPECT_EQ(made.finished_wall->from_mm, 2);
  EXPECT_EQ(made.finished_wall->to_mm, 12.5);
  const plan::Plan again = plan::parse_plan(plan::write_plan(made), "plan.json");
  EXPECT_EQ(again.back, made.back);
  ASSERT_TRUE(again.finished_wall);
  EXPECT_EQ(again.finished_wall->to_mm, 12.5);
}

TEST(PlanFile, RefusesAWallThatTheStockDoesNotHold) {
  const auto refused = [](const std::string& keys, const std::string& words) {
    try {
      plan::parse_plan(plan_made(keys), "plan.json");
      FAIL() << keys;
    } catch (const core::InputError& e) {
      EXPECT_EQ(std::string(e.what()), "plan.json: " + words);
    }
  };
  refused(R"("finished_wall": [2, 15], )",
          "finished_wall: must lie within the stock, from 0 (the outer face) to 14 mm");
  refused(R"("finished_wall": [-1, 12], )",
          "finished_wall: must lie within the stock, from 0 (the outer face) to 14 mm");
  refused(R"("finished_wall": [8, 8.2], )",
          "finished_wall: leaves no wall: two depths below the outer face, the first the smaller");
  refused(R"("back": "round", )", "back: must be \"flat\", \"fitted\" or \"hollowed\"");
}

}  // namespace
}  // namespace interstice
