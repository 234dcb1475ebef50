// Layouts: what the project's own reader makes of plan.json, and the even gap.
#include "renderer/layout.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "plan/piece_model.h"
#include "plan/plan.h"
#include "render/scenes.h"

namespace interstice::renderer {
namespace {

SceneOptions untouched(const std::string& name) {
  SceneOptions o = preset(name);
  o.build = {0, 0, 0, 0, 0, 0, 0, false};
  return o;
}

TEST(Layout, BowlHasAsManyPiecesAsItsSurfaceAsksFor) {
  const SceneOptions o = preset("bowl");
  const Layout layout = make_layout(Form(o.form), o.layout, o.seed);
  EXPECT_GE(layout.pieces.size(), 50u);
  EXPECT_LE(layout.pieces.size(), 70u);
  std::set<std::string> labels;
  for (const PlannedPiece& p : layout.pieces) {
    labels.insert(p.label);
    EXPECT_GT(geometry::signed_area(p.footprint), 0) << p.label;
    EXPECT_GT(geometry::signed_area(p.face), geometry::signed_area(p.footprint) * 0.8) << p.label;
  }
  EXPECT_EQ(labels.size(), layout.pieces.size());
}

TEST(Layout, FacesKeepTheGapWhereTheyAreEvenlySet) {
  for (const double gap : {1.0, 3.7, 6.0}) {
    SceneOptions o = untouched("bowl");
    o.layout.planned_gap_mm = gap;
    const Scene scene = make_scene(o);
    std::vector<double> mouths;
    for (const TrueSeam& s : scene.seams) {
      if (s.length_mm >= 10) mouths.push_back(s.mouth_mm);
    }
    ASSERT_GT(mouths.size(), 80u);
    EXPECT_GT(*std::min_element(mouths.begin(), mouths.end()), 0.85 * gap);
    std::nth_element(mouths.begin(), mouths.begin() + static_cast<std::ptrdiff_t>(mouths.size() / 2),
                     mouths.end());
    EXPECT_NEAR(mouths[mouths.size() / 2], gap, 0.06 * gap + 0.05) << gap;
  }
}

TEST(Layout, PlanReadsBackAndItsFacesAreOurs) {
  // The planned face from the footprint, computed by the plan stage, against the face the footprint came
  // from.
  for (const char* name : {"bowl", "cup", "platter", "patch"}) {
    const SceneOptions o = preset(name);
    const Form form(o.form);
    const Layout layout = make_layout(form, o.layout, o.seed);
    const plan::Plan plan = plan::parse_plan(plan_json(o.name, form, o.layout, layout), "plan.json");
    ASSERT_EQ(plan.tiles.size(), layout.pieces.size());
    std::vector<double> apart;
    for (std::size_t i = 0; i < layout.pieces.size(); ++i) {
      const plan::PieceFace face = plan::planned_face(plan, geometry::TileIndex(i));
      const Frame frame = form.frame(layout.pieces[i].centre, o.layout.thickness_mm);
      std::vector<Eigen::Vector3d> theirs;
      for (const auto& p : face.outline) theirs.push_back(face.frame.lift(p));
      for (const auto& p : layout.pieces[i].face) {
        apart.push_back(point_to_curve(frame.to_bowl({p.x(), p.y(), 0}), theirs));
      }
    }
    std::sort(apart.begin(), apart.end());
    EXPECT_LT(apart[apart.size() * 95 / 100], 0.05) << name;  // corners are where outlines of points differ
    EXPECT_LT(apart.back(), 0.15) << name;
    EXPECT_GT(apart.back(), 0) << name;
  }
}

TEST(Layout, BuiltPiecesStrayAsAskedAndNeverTouch) {
  const SceneOptions o = preset("bowl");
  const Scene scene = make_scene(o);
  double moved2 = 0;
  for (const BuiltPiece& p : scene.pieces) moved2 += p.moved_mm.squaredNorm();
  const double sd = std::sqrt(0.5 * moved2 / static_cast<double>(scene.pieces.size()));
  EXPECT_GT(sd, 0.6 * o.build.shift_mm);
  EXPECT_LT(sd, 1.1 * o.build.shift_mm);
  for (const TrueSeam& s : scene.seams) EXPECT_GT(s.clearance_mm, 0.04) << s.first << s.second;
}

TEST(Layout, MissingAndUnplacedPiecesAreNotThere) {
  SceneOptions o = preset("bowl");
  o.layout.rings_placed = 2;
  o.layout.missing = 3;
  const Scene scene = make_scene(o);
  int there = 0, low = 0;
  for (const BuiltPiece& p : scene.pieces) {
    there += p.placed ? 1 : 0;
    low += p.ring <= 2 ? 1 : 0;
    EXPECT_FALSE(p.placed && p.ring > 2);
  }
  EXPECT_EQ(there, low - 3);
  EXPECT_EQ(scene.rings_placed(), 2);
}

}  // namespace
}  // namespace interstice::renderer
