// The rules the optimiser has to keep, on plane scenes and generated shells; what-if, verdicts.
#include "rework/corrections.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <set>

#include "core/errors.h"
#include "edges/block_scene.h"
#include "solid/throat.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;
using testing::kFar;
using testing::Scene;

TEST(Corrections, nothing_to_do_is_nothing_done) {
  Scene scene;
  scene.add_row({3.5, 4.0});
  scene.measure(0.2);
  const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan);
  EXPECT_TRUE(result.corrections.empty());
  EXPECT_TRUE(result.refused.empty());
}

TEST(Corrections, doubtful_seams_are_raised_by_their_guard_band) {
  Scene scene;
  scene.add_row({3.1});
  scene.measure(0.4);  // guard band 1.645 * 0.2 = 0.329
  ASSERT_EQ(scene.fit.seams[0].verdict, seams::Verdict::doubtful);
  const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan);
  ASSERT_EQ(result.seams.size(), 1u);
  EXPECT_NEAR(result.seams[0].needed_mm, 3.329, 1e-9);
  EXPECT_GE(result.seams[0].after_mm, 3.329 - 1e-6);
  EXPECT_LE(result.seams[0].after_mm, 3.45);
}

TEST(Corrections, what_can_not_be_had_is_said) {
  Scene scene;
  scene.add_row({1.0});
  scene.measure();
  rework::CorrectionOptions options;
  options.max_move_mm = 0.3;
  options.max_turn_deg = 0;
  options.max_sand_mm = 0.5;
  const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
  EXPECT_TRUE(result.corrections.empty());
  ASSERT_EQ(result.refused.size(), 1u);
  EXPECT_EQ(result.refused[0], "no move frees A; recut it 2.0 mm narrower on the side of B");
  options.glued = true;
  EXPECT_EQ(
      rework::propose_corrections(scene.fit, scene.plan, options).refused.at(0),
      "sanding up to 0.5 mm does not free A, which is glued; recut it 2.0 mm narrower on the side of B");
  options.locked = {"A", "B"};
  EXPECT_EQ(
      rework::propose_corrections(scene.fit, scene.plan, options).refused.at(0),
      "both A and B are locked; unlock one, or take A out and recut it 2.0 mm narrower on the side of B");
}

TEST(Corrections, locks_glue_and_preference_are_kept) {
  Scene scene;
  scene.add_row({2.2, 4.5});
  scene.measure();
  rework::CorrectionOptions options;
  options.locked = {"A"};
  for (const seams::Correction& c : rework::propose_corrections(scene.fit, scene.plan, options).corrections)
    EXPECT_NE(c.tile, "A");
  options.locked = {"B"};
  for (const seams::Correction& c : rework::propose_corrections(scene.fit, scene.plan, options).corrections)
    EXPECT_EQ(c.tile, "A");
  options.locked.clear();
  options.glued = true;
  for (const seams::Correction& c : rework::propose_corrections(scene.fit, scene.plan, options).corrections) {
    EXPECT_EQ(c.action, seams::Correction::Action::sand);
    EXPECT_NEAR(c.depth_mm, 0.8, 1e-9);
    EXPECT_NEAR(c.length_mm, 42, 4);
  }
  options.glued = false;
  options.prefer = rework::CorrectionOptions::Prefer::sand;
  EXPECT_EQ(rework::propose_corrections(scene.fit, scene.plan, options).movement_mm, 0);
  options.prefer = rework::CorrectionOptions::Prefer::move;
  EXPECT_EQ(rework::propose_corrections(scene.fit, scene.plan, options).wood_mm3, 0);
}

TEST(Corrections, a_piece_in_the_middle_does_not_close_the_seam_behind_it) {
  Scene scene;
  scene.add_row({2.0, 3.2, 2.0});
  scene.measure();
  rework::CorrectionOptions options;
  options.max_sand_mm = 0;
  const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
  EXPECT_TRUE(result.refused.empty());
  for (const auto& seam : result.seams) EXPECT_GE(seam.after_mm, 3.0 - 1e-6);
  EXPECT_EQ(result.pieces_touched, 2u);  // the outer two
}

TEST(Corrections, wide_seams_are_not_opened_beyond_the_limit) {
  // B stands over E, 2 mm away, and over G, 7.9 mm away: it can rise by 0.1 mm only unless G follows.
  Scene scene;
  scene.add("E", 0, 0, 18, 40);
  scene.add("G", 27, -5.9, 18, 40);
  scene.add("B", 0, 42, 45, 40);
  scene.measure();
  rework::CorrectionOptions options;
  options.max_sand_mm = 0;
  options.max_turn_deg = 0;
  options.locked = {"E", "G"};
  EXPECT_EQ(rework::propose_corrections(scene.fit, scene.plan, options).refused.size(), 1u);
  options.locked = {"E"};
  const rework::CorrectionResult both = rework::propose_corrections(scene.fit, scene.plan, options);
  EXPECT_TRUE(both.refused.empty());
  EXPECT_EQ(both.pieces_touched, 2u);
  for (const auto& seam : both.seams) EXPECT_LE(seam.after_mm, std::max(seam.before_mm, 8.0) + 1e-6);
}

TEST(Corrections, absent_pieces_keep_their_place_and_unseen_ones_are_not_approached) {
  for (const plan::TileState state : {plan::TileState::absent, plan::TileState::unseen}) {
    Scene scene;
    scene.add("A", 0, 0, 40, 40);
    scene.add("B", 42, 0, 40, 40);
    scene.add("C", 86, 0, 40, 40, state);  // 4 mm beyond B
    scene.measure();
    rework::CorrectionOptions options;
    options.locked = {"A"};
    options.max_sand_mm = 0;
    options.max_turn_deg = 0;
    const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
    if (state == plan::TileState::absent) {
      ASSERT_EQ(result.corrections.size(), 1u);
      EXPECT_NEAR(result.corrections[0].along_mm, 1.0, 1e-9);
    } else {
      EXPECT_TRUE(result.corrections.empty());
      EXPECT_EQ(result.refused.size(), 1u);
    }
  }
}

TEST(Corrections, a_seam_not_seen_is_not_narrowed) {
  Scene scene;
  scene.add_row({2.0, 5.0});
  scene.measure();
  scene.fit.seams[1].verdict = seams::Verdict::unseen;
  scene.fit.seams[1].narrowest_mm.reset();
  scene.fit.seams[1].u95_mm.reset();
  rework::CorrectionOptions options;
  options.locked = {"A", "C"};
  options.max_sand_mm = 0;
  options.max_turn_deg = 0;
  EXPECT_EQ(rework::propose_corrections(scene.fit, scene.plan, options).refused.size(), 1u);
}

TEST(Corrections, worth_decides_the_order) {
  Scene scene;
  scene.add_row({2.0, 4.0, 6.0, 4.0, 2.5});
  scene.measure();
  rework::CorrectionOptions options;
  ASSERT_EQ(scene.fit.seams.size(), 5u);
  options.seam_value = {1, 0, 0, 0, 50};
  const auto last_first = rework::propose_corrections(scene.fit, scene.plan, options).corrections;
  options.seam_value = {50, 0, 0, 0, 1};
  const auto first_first = rework::propose_corrections(scene.fit, scene.plan, options).corrections;
  ASSERT_EQ(last_first.size(), 2u);
  ASSERT_EQ(first_first.size(), 2u);
  EXPECT_EQ(last_first[0].frees.at(0).tiles, (std::array<std::string, 2>{"E", "F"}));
  EXPECT_EQ(first_first[0].frees.at(0).tiles, (std::array<std::string, 2>{"A", "B"}));
}

TEST(Corrections, options_are_checked) {
  Scene scene;
  scene.add_row({2.0});
  scene.measure();
  rework::CorrectionOptions options;
  options.locked = {"Q"};
  EXPECT_THROW(rework::propose_corrections(scene.fit, scene.plan, options), core::InputError);
  options = {};
  options.max_move_mm = -1;
  EXPECT_THROW(rework::propose_corrections(scene.fit, scene.plan, options), core::InputError);
  options = {};
  options.seam_value = {1, 2, 3};
  EXPECT_THROW(rework::propose_corrections(scene.fit, scene.plan, options), std::invalid_argument);
}

// On a round form, with noise: the same result over again and on any number of threads, and what is stated is
// what applying it shows.
TEST(Corrections, stated_widths_are_those_of_the_what_if) {
  const testing::GeneratedShell shell = testing::generated_shell(60, 0.2, 3);
  rework::CorrectionOptions options;
  const rework::CorrectionResult result = rework::propose_corrections(shell.fit, shell.plan, options);
  ASSERT_GT(result.pieces_touched, 5u);
  options.threads = 2;
  seams::FitDocument one = shell.fit, two = shell.fit;
  one.corrections = result.corrections;
  two.corrections = rework::propose_corrections(shell.fit, shell.plan, options).corrections;
  EXPECT_EQ(seams::write_fit(one), seams::write_fit(two));

  // Through the file, as a user would.
  const seams::FitDocument after = rework::apply_corrections(
      shell.fit, shell.plan, rework::parse_corrections(seams::write_fit(one), "fit.json"));
  std::size_t compared = 0;
  for (const auto& stated : result.seams) {
    for (const seams::FitSeam& seam : after.seams) {
      if (seam.tiles != stated.tiles) continue;
      EXPECT_NEAR(*seam.narrowest_mm, stated.after_mm, 2e-3) << seam.tiles[0] << "-" << seam.tiles[1];
      ++compared;
    }
  }
  EXPECT_GT(compared, 20u);
  for (const seams::FitSeam& seam : after.seams)
    EXPECT_NE(seam.verdict, seams::Verdict::too_tight) << seam.tiles[0] << "-" << seam.tiles[1];
  EXPECT_FALSE(rework::width_changes(shell.fit, after).empty());
  EXPECT_TRUE(rework::propose_corrections(after, shell.plan).corrections.size() <=
              2);  // rounding on the fence
}

TEST(Corrections, what_if_of_nothing_changes_nothing) {
  const testing::GeneratedShell shell = testing::generated_shell(20, 0.2, 4);
  const seams::FitDocument after = rework::apply_corrections(shell.fit, shell.plan, {});
  EXPECT_EQ(seams::write_fit(after), seams::write_fit(shell.fit));
}

TEST(Corrections, what_if_names_what_is_wrong_in_the_list) {
  Scene scene;
  scene.add_row({2.0});
  scene.measure();
  seams::Correction c;
  c.tile = "Z";
  EXPECT_THROW(rework::apply_corrections(scene.fit, scene.plan, {c}), core::InputError);
  c.tile = "A";
  c.action = seams::Correction::Action::sand;
  c.facing = "B";
  c.depth_mm = 0.5;
  c.from = {kFar + 500, 0};
  c.to = {kFar + 510, 0};
  EXPECT_THROW(rework::apply_corrections(scene.fit, scene.plan, {c}), core::InputError);
  EXPECT_THROW(rework::parse_corrections("{\"x\": 1}", "c.json"), core::InputError);
  EXPECT_THROW(rework::parse_corrections("[{\"tile\": \"A\", \"action\": \"burn\"}]", "c.json"),
               core::InputError);
  EXPECT_EQ(rework::parse_corrections(
                "[{\"tile\":\"A\",\"action\":\"move\",\"along_mm\":1,\"towards_pole_mm\":0,\"turn_deg\":0}]",
                "c.json")
                .size(),
            1u);
}

// Blocks whose walls lean towards each other below the face: wide at the mouth, narrow at the foot. Their seam as a
// measurement with these uncertainties would state it.
void lean_and_measure(Scene& scene, double out_mm, double u95_mm, double throat_u95_mm) {
  for (seams::FitTile& tile : scene.fit.tiles) {
    Vector3d middle = Vector3d::Zero();
    for (const Vector3d& p : tile.arris) middle += p / static_cast<double>(tile.arris.size());
    for (std::size_t i = 0; i < tile.root.size(); ++i)
      tile.root[i].y() += (tile.arris[i].y() > middle.y() ? 1 : -1) * out_mm;
  }
  scene.measure(u95_mm);
  for (seams::FitSeam& seam : scene.fit.seams) {
    const auto body = [&](std::size_t k) {
      for (const seams::FitTile& t : scene.fit.tiles) {
        if (t.label == seam.tiles[k]) return solid::SolidBody({t.face, t.arris, t.root});
      }
      return solid::SolidBody();
    };
    seam.throat_mm = solid::throat_of(body(0), body(1))->width_mm;
    seam.throat_u95_mm = throat_u95_mm;
    seams::judge_again(seam, scene.fit.smallest_fill_mm);
  }
}

// Gap 3.8 mm, feet 0.5 mm out on either side: 2.8 mm apart. To be proved at 3 + 1.645 * 0.1 mm one foot has to lose
// 0.3645 mm or more of 12 mm: atan(0.5 / 12) back by 1.74 degrees, which is 2 in halves. The mouth is left alone.
TEST(Easing, OpensAThroatAndLeavesTheFace) {
  Scene scene;
  scene.add_row({3.8});
  lean_and_measure(scene, 0.5, 0.1, 0.2);
  ASSERT_EQ(scene.fit.seams[0].verdict, seams::Verdict::pinched);
  rework::CorrectionOptions options;
  options.glued = true;  // else moving apart would do
  const rework::CorrectionResult work = rework::propose_corrections(scene.fit, scene.plan, options);
  ASSERT_EQ(work.corrections.size(), 1u);
  const seams::Correction& c = work.corrections[0];
  EXPECT_EQ(c.action, seams::Correction::Action::ease);
  EXPECT_NEAR(c.angle_deg, 2.0, 1e-9);
  EXPECT_NEAR(c.length_mm, 40, 6);
  EXPECT_EQ(work.pieces_touched, 1u);
  EXPECT_TRUE(work.refused.empty());
  const seams::FitDocument after = rework::apply_corrections(scene.fit, scene.plan, work.corrections);
  EXPECT_EQ(after.seams[0].verdict, seams::Verdict::clear);
  EXPECT_GE(*after.seams[0].throat_mm, 3.1645 - 1e-6);
  EXPECT_GE(*after.seams[0].narrowest_mm, *scene.fit.seams[0].narrowest_mm - 1e-6);
  for (const seams::FitTile& tile : after.tiles) {  // no arris has moved
    for (std::size_t k = 0; k < scene.fit.tiles.size(); ++k) {
      if (scene.fit.tiles[k].label != tile.label) continue;
      EXPECT_EQ(tile.arris, scene.fit.tiles[k].arris);
    }
  }
}

// A seam too tight at the mouth and narrower behind it has to be wide enough in both.
TEST(Easing, MovingCountsTheThroat) {
  Scene scene;
  scene.add_row({2.6});
  lean_and_measure(scene, 0.3, 0.1, 0.2);
  ASSERT_EQ(scene.fit.seams[0].verdict, seams::Verdict::too_tight);
  rework::CorrectionOptions options;
  const auto work = rework::propose_corrections(scene.fit, scene.plan, options);
  EXPECT_TRUE(work.refused.empty());
  const seams::FitDocument after = rework::apply_corrections(scene.fit, scene.plan, work.corrections);
  EXPECT_EQ(after.seams[0].verdict, seams::Verdict::clear);
}

// What turning takes away need not be eased.
TEST(Easing, NotForWoodThatIsTurnedAway) {
  Scene scene;
  scene.add_row({3.8});
  lean_and_measure(scene, 0.5, 0.1, 0.2);
  scene.fit.finished_wall = plan::FinishedWall{1, 6};
  seams::FitSeam& seam = scene.fit.seams[0];
  seam.throat_mm = 3.8 - 2 * 0.5 * 6 / 12;
  seams::judge_again(seam, 3);
  ASSERT_EQ(seam.verdict, seams::Verdict::clear);
  rework::CorrectionOptions options;
  EXPECT_TRUE(rework::propose_corrections(scene.fit, scene.plan, options).corrections.empty());
}

}  // namespace
}  // namespace interstice
