// The work order as words and as strokes: reasons, one edge on one line, sanding and easing at one setting.
#include <gtest/gtest.h>

#include "edges/block_scene.h"
#include "rework/correction_join.h"
#include "rework/corrections.h"

namespace interstice {
namespace {

TEST(WorkOrder, speaks_bench_words) {
  seams::FitDocument fit;
  seams::Correction sand;
  sand.action = seams::Correction::Action::sand;
  sand.tile = "B07";
  sand.facing = "C03";
  sand.depth_mm = 0.6;
  sand.length_mm = 18;
  sand.frees.push_back({{"B07", "C03"}, 3.24});
  seams::Correction move;
  move.tile = "A02";
  move.along_mm = -1.2;
  move.towards_pole_mm = 0.3;
  move.turn_deg = 0.8;
  fit.corrections = {sand, move};
  fit.corrections_refused = {"no move frees D01; recut it 1.2 mm narrower on the side of C04"};
  EXPECT_EQ(rework::work_order(fit),
            "  1  sand B07 where it faces C03: 0.6 mm over 18 mm  (then B07-C03 3.2 mm)\n"
            "  2  move A02 1.2 mm clockwise and 0.3 mm towards the foot, turn it 0.8 deg counter-clockwise\n"
            "  -  no move frees D01; recut it 1.2 mm narrower on the side of C04\n"
            "Along the ring as seen from above, turns as seen from outside; each piece keeps its tilt.\n"
            "Sand square to the edge with the bevel kept, running out over 3 mm at both ends.\n"
            "Wood dust harms: mask and extraction, and what the data sheets say of glue on the edges.\n");
  EXPECT_EQ(rework::work_order({}), "");
}

seams::Correction easing(const std::string& tile, const std::string& facing, double angle_deg,
                         double length_mm) {
  seams::Correction c;
  c.action = seams::Correction::Action::ease;
  c.tile = tile;
  c.facing = facing;
  c.angle_deg = angle_deg;
  c.length_mm = length_mm;
  return c;
}

// Each step with its reason, what is done to one edge on one line.
TEST(WorkOrder, SaysWhyAndKeepsOneEdgeTogether) {
  seams::FitDocument fit;
  seams::FitSeam pinched;
  pinched.tiles = {"B07", "C03"};
  pinched.verdict = seams::Verdict::pinched;
  pinched.narrowest_mm = 3.6;
  pinched.throat_mm = 1.9;
  pinched.u95_mm = pinched.throat_u95_mm = 0.2;
  seams::FitSeam clear = pinched;
  clear.tiles = {"A02", "B07"};
  clear.verdict = seams::Verdict::clear;
  fit.seams = {pinched, clear};
  seams::Correction ease = easing("B07", "C03", 4, 12);
  ease.begin_mm = 5;
  ease.begin_at = "C04";
  ease.frees.push_back({{"C03", "B07"}, 3.6, 3.2});
  seams::Correction sand = ease;
  sand.action = seams::Correction::Action::sand;
  sand.depth_mm = 0.4;
  sand.angle_deg = 2;
  sand.length_mm = 4;
  seams::Correction move;
  move.tile = "B07";
  move.along_mm = 0.5;
  move.frees.push_back({{"A02", "B07"}, 3.4});
  fit.corrections = {ease, move, sand};
  EXPECT_EQ(rework::work_steps(fit), (std::vector<rework::WorkStep>{{0, 2}, {1}}));
  const std::string order = rework::work_order(fit);
  EXPECT_EQ(
      order.substr(0, order.find("Along the ring")),
      "  1  ease the wall of B07 towards C03 by 4 degrees over 12 mm, 5 mm from the end at C04, face edge "
      "unchanged; there too sand 0.4 mm over 4 mm with 2 degrees more bevel, 5 mm from the end at C04  "
      "(because C03-B07 is 1.9 mm wide behind its mouth; then C03-B07 3.6 mm, 3.2 mm behind)\n"
      "  2  move B07 0.5 mm counter-clockwise  (because A02-B07 would become too narrow without it; then "
      "A02-B07 3.4 mm)\n");
}

TEST(WorkOrder, EasingSaysAngleLengthAndWhereToBegin) {
  seams::Correction c = easing("C12", "D06", 3, 18);
  c.begin_mm = 4;
  c.begin_at = "D05";
  EXPECT_EQ(rework::correction_words(c),
            "ease the wall of C12 towards D06 by 3 degrees over 18 mm, 4 mm from the end at D05, face edge "
            "unchanged");
  c.angle_deg = 1.5;
  c.begin_mm = 0;
  EXPECT_EQ(
      rework::correction_words(c),
      "ease the wall of C12 towards D06 by 1.5 degrees over 18 mm, from the end at D05, face edge unchanged");
}

// Limit 2 mm: common practice, no source.
TEST(WorkOrder, NamesGapsTooNarrowForAStick) {
  seams::FitDocument fit;
  for (const auto& [label, width] : {std::pair("D03", 1.7), std::pair("C06", 2.0)}) {
    seams::FitSeam seam;
    seam.tiles = {label, "D04"};
    seam.narrowest_mm = width;
    fit.seams.push_back(seam);
    seams::Correction c;
    c.action = seams::Correction::Action::sand;
    c.tile = "D04";
    c.facing = label;
    fit.corrections.push_back(c);
  }
  const std::string order = rework::work_order(fit);
  EXPECT_NE(order.find("so narrow a gap: D04 at D03 1.7 mm. Run a blade with abrasive through, or pop"),
            std::string::npos)
      << order;
}

// Two blocks 2.4 mm apart; the edge of the first that faces the second is sanded over all its 40 mm and eased over most.
struct OneEdge {
  testing::Scene scene;
  rework::CorrectionShell shell;
  const rework::PieceIndex first{0}, second{1};
  rework::ByPair<char> given_up;

  explicit OneEdge(double limit_mm) {
    scene.add_row({2.4});
    scene.measure();
    rework::CorrectionOptions options;
    options.limit_mm = limit_mm;
    shell = rework::make_shell(scene.fit, scene.plan, options);
    given_up.assign(shell.pairs.size(), 0);
  }
  // An edge of the first block, by arc length, where the mouth is narrowest.
  double arc_mm() const {
    const solid::SolidBody a(shell.pieces[first].solid), b(shell.pieces[second].solid);
    const auto mouths = solid::mouth_along(a, b);
    const solid::MouthSample& m = mouths[mouths.size() / 2];
    return m.from == 0 ? a.arc_at(m.segment, m.t) : a.arc_at(m.to_segment, m.to_t);
  }
  rework::LaidOut with(const std::vector<rework::SandedStretch>& stretches) const {
    rework::LaidOut out;
    out.change.resize(shell.pieces.size());
    out.change[first].sanded = stretches;
    out.change[first].facing.assign(stretches.size(), second);
    rework::measure(shell, out, 1);
    return out;
  }
};

TEST(JoinedStrokes, SandingAndEasingOfOneStretchAreOneSetting) {
  const OneEdge edge(8);
  const double at = edge.arc_mm();
  const rework::LaidOut before = edge.with({{at - 22, at + 22, 1.2, 0}, {at - 18, at + 22, 0, 3}});
  rework::LaidOut out = before;
  rework::join_strokes(edge.shell, edge.given_up, 1, out);
  ASSERT_EQ(out.change[edge.first].sanded.size(), 1u);
  ASSERT_EQ(out.change[edge.first].facing.size(), 1u);
  const rework::SandedStretch& one = out.change[edge.first].sanded[0];
  EXPECT_NEAR(one.from_mm, at - 22, 1e-9);
  EXPECT_NEAR(one.to_mm, at + 22, 1e-9);
  EXPECT_EQ(one.depth_mm, 1.2);
  EXPECT_EQ(one.ease_deg, 3);
  for (const rework::PairIndex k : edge.shell.pairs.indices()) {
    if (before.after[k]) {
      EXPECT_GE(out.after[k]->mouth_mm, before.after[k]->mouth_mm - 1e-9);
    }
  }
}

TEST(JoinedStrokes, OthersStayApart) {
  const OneEdge edge(8);
  const double at = edge.arc_mm();
  // A short one at the end of a long one; two of one kind; one that faces another piece.
  for (const auto& two :
       {std::vector<rework::SandedStretch>{{at - 22, at + 22, 1.2, 0}, {at + 12, at + 22, 0, 3}},
        {{at - 22, at + 22, 1.2, 0}, {at - 18, at + 22, 0.9, 0}}}) {
    rework::LaidOut out = edge.with(two);
    rework::join_strokes(edge.shell, edge.given_up, 1, out);
    EXPECT_EQ(out.change[edge.first].sanded.size(), 2u);
  }
  rework::LaidOut out = edge.with({{at - 22, at + 22, 1.2, 0}, {at - 18, at + 22, 0, 3}});
  out.change[edge.first].facing[1] = edge.first;
  rework::join_strokes(edge.shell, edge.given_up, 1, out);
  EXPECT_EQ(out.change[edge.first].sanded.size(), 2u);
}

}  // namespace
}  // namespace interstice
