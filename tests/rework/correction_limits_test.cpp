// Where bounds pull against one another: one seam's limit must not cost the others, and the search's own
// limit is told.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "edges/block_scene.h"
#include "rework/correction_model.h"
#include "rework/correction_search.h"
#include "rework/corrections.h"

namespace interstice {
namespace {

using testing::Scene;

// Four blocks round a junction, glued. The seams of 2.4 mm along the ring are to be sanded; the courses
// are 7.4 mm apart, so that corners face one another over 7.78 mm, and over 8.06 once an edge is sanded to
// its corner.
Scene junction(double courses_mm = 7.4, double u95_mm = 0.2) {
  Scene scene;
  scene.add("A", 0, 0, 40, 40);
  scene.add("B", 42.4, 0, 40, 40);
  scene.add("C", 0, 40 + courses_mm, 40, 40);
  scene.add("D", 42.4, 40 + courses_mm, 40, 40);
  scene.measure(u95_mm);
  return scene;
}

// Pieces that face each other with their corners only: a seam of the document or not.
void drop_seam(Scene& scene, const std::array<std::string, 2>& tiles) {
  ASSERT_EQ(std::erase_if(scene.fit.seams, [&](const seams::FitSeam& s) { return s.tiles == tiles; }), 1u);
}

// Sanding a piece's whole edge where it faces the other of the pair.
rework::SandedStretch whole_edge(const rework::CorrectionShell& shell, const rework::ShellPair& pair,
                                 rework::PieceIndex piece, double depth_mm) {
  const solid::SolidBody own(shell.pieces[piece].solid),
      other(shell.pieces[piece == pair.a ? pair.b : pair.a].solid);
  double first = 0, low = 0, high = 0;  // the edge may go over the outline's first vertex
  const double round = own.perimeter_mm();
  for (const solid::MouthSample& m : solid::mouth_along(own, other, {.limit_mm = pair.now_mm + 0.01})) {
    const double arc = own.arc_at(m.from == 0 ? m.segment : m.to_segment, m.from == 0 ? m.t : m.to_t);
    if (first == 0) first = arc;
    const double ahead = arc - first - round * std::round((arc - first) / round);
    low = std::min(low, ahead), high = std::max(high, ahead);
  }
  return {first + low - 0.5, first + high + 0.5, depth_mm};
}

rework::CorrectionOptions glued() {
  rework::CorrectionOptions options;
  options.glued = true;
  return options;
}

TEST(CorrectionLimits, corners_across_a_junction_are_no_seam) {
  Scene scene = junction();
  drop_seam(scene, {"A", "D"});
  drop_seam(scene, {"B", "C"});
  const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, glued());
  EXPECT_TRUE(result.refused.empty());
  EXPECT_EQ(result.pieces_touched, 2u);
  EXPECT_TRUE(result.proved_fewest);
}

// The same with A-D a seam that must not open: the linear model does not see that sanding A's edge towards B
// takes its corner too. B and C can be sanded instead.
TEST(CorrectionLimits, a_seam_at_its_limit_costs_no_other) {
  Scene scene = junction();
  drop_seam(scene, {"B", "C"});
  const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, glued());
  EXPECT_TRUE(result.refused.empty());
  ASSERT_EQ(result.corrections.size(), 2u);
  for (const seams::Correction& c : result.corrections) EXPECT_TRUE(c.tile == "B" || c.tile == "C") << c.tile;
}

// With B locked only A can be sanded, which opens A-D: that seam is given up, but not C-D with it.
// Without uncertainty the limit is 8 mm itself, and 7.87 mm become 8.08.
TEST(CorrectionLimits, what_can_be_had_is_had) {
  for (Scene scene : {junction(), junction(7.5, 0)}) {
    drop_seam(scene, {"B", "C"});
    rework::CorrectionOptions options = glued();
    options.locked = {"B"};
    const rework::CorrectionResult result = rework::propose_corrections(scene.fit, scene.plan, options);
    ASSERT_EQ(result.refused.size(), 1u);
    EXPECT_NE(result.refused[0].find("A"), std::string::npos) << result.refused[0];
    ASSERT_EQ(result.corrections.size(), 1u);
    EXPECT_EQ(result.corrections[0].tile, "C");
  }
}

// A and D sanded open A-D too far, either alone does not: the one that frees less is taken back, and only it.
TEST(CorrectionLimits, the_piece_that_frees_less_is_taken_back) {
  Scene scene = junction(6.2);
  const rework::CorrectionOptions options = glued();
  rework::CorrectionShell shell = rework::make_shell(scene.fit, scene.plan, options);
  for (const std::string more : {"A", "D"}) {
    rework::Outcome both;
    both.layout.change.resize(shell.pieces.size());
    both.given_up.assign(shell.pairs.size(), 0);
    for (rework::ShellPair& p : shell.pairs) {
      if (!p.must_rise) continue;
      const rework::PieceIndex piece = shell.pieces[p.a].label == "A" ? p.a : p.b;  // of A-B and C-D
      p.value = shell.pieces[piece].label == more ? 2 : 1;
      both.layout.change[piece].sanded = {whole_edge(shell, p, piece, 0.8)};
      both.layout.change[piece].facing = {piece == p.a ? p.b : p.a};
    }
    rework::measure(shell, both.layout, 1);
    ASSERT_EQ(rework::shortfalls(shell, both.layout, both.given_up).size(), 1u);
    const rework::Outcome one = rework::taken_back(shell, options, both);
    EXPECT_TRUE(rework::shortfalls(shell, one.layout, one.given_up).empty());
    EXPECT_EQ(std::count(one.given_up.begin(), one.given_up.end(), 1), 1);
    for (const rework::PieceIndex i : shell.pieces.indices())
      EXPECT_EQ(one.layout.change[i].is_none(), shell.pieces[i].label != more);
  }
}

// A margin that cannot be had where a piece is touched leaves the piece untouched; all else is as before.
TEST(CorrectionLimits, doing_nothing_is_always_open) {
  Scene scene;
  scene.add_row({2.0, 5.0, 2.0});
  scene.measure();
  const rework::CorrectionOptions options;
  const rework::CorrectionShell shell = rework::make_shell(scene.fit, scene.plan, options);
  rework::CorrectionModel model(shell, options);
  const rework::ByPiece<rework::Move> still(shell.pieces.size());
  for (const rework::PairIndex k : shell.pairs.indices()) {
    if (shell.pairs[k].must_rise) continue;
    model.lower_margin_mm[k] = 50;
    model.upper_margin_mm[k] = 50;
  }
  const rework::CorrectionChoice choice = model.choose(still, false);
  EXPECT_EQ(choice.touched, rework::ByPiece<char>({1, 0, 0, 1}));
  EXPECT_EQ(std::count(choice.given_up.begin(), choice.given_up.end(), 1), 0);
}

// Stopped before its end the search still keeps every bound, and says that fewer pieces may do.
TEST(CorrectionLimits, a_search_that_was_stopped_says_so) {
  const testing::GeneratedShell shell = testing::generated_shell(60, 0.6, 3);
  rework::CorrectionOptions options;
  options.max_search = 1;
  rework::CorrectionResult stopped = rework::propose_corrections(shell.fit, shell.plan, options);
  const rework::CorrectionResult whole = rework::propose_corrections(shell.fit, shell.plan);
  EXPECT_TRUE(whole.proved_fewest);
  EXPECT_LE(whole.refused.size(), stopped.refused.size());
  if (whole.refused.size() == stopped.refused.size()) {
    EXPECT_LE(whole.pieces_touched, stopped.pieces_touched);
  }
  for (const auto& seam : stopped.seams) {
    if (seam.had_to_rise) continue;
    EXPECT_GE(seam.after_mm, seam.needed_mm - 1e-6) << seam.tiles[0] << "-" << seam.tiles[1];
  }
  seams::FitDocument fit = shell.fit;
  stopped.proved_fewest = false;
  stopped.pieces_touched = 9;
  stopped.pieces_at_least = 7;
  rework::put_corrections(std::move(stopped), fit);
  ASSERT_EQ(fit.warnings.size(), 1u);
  EXPECT_NE(fit.warnings[0].find("fewer pieces may do (9 are touched; fewer than 7 can not do)"),
            std::string::npos);
  rework::put_corrections(whole, fit);
  EXPECT_EQ(fit.warnings.size(), 1u);
}

}  // namespace
}  // namespace interstice
