// The arithmetic of forms' errors against their uncertainties, on numbers worked out by hand.
#include "sweep/forms.h"

#include <gtest/gtest.h>

#include <cmath>

#include "core/errors.h"
#include "renderer/scene.h"

namespace interstice::sweep {
namespace {

// Points on a slope of 3 : 4 with equal parts of the budget.
MeasuredForm by_hand(const std::vector<double>& errors, double part) {
  MeasuredForm form;
  form.name = "slope";
  form.scale_sd = 0.01, form.paper_sd_mm = 0.05 / std::sqrt(3.0);
  for (const double e : errors) {
    MeridianError p;
    p.rz = {30, 40}, p.normal = {0.6, 0.8}, p.error = e;
    p.budget.scatter = p.budget.poses = p.budget.shared = p.budget.bend = part;
    p.budget.scale = 0.01 * 50, p.budget.bench = form.paper_sd_mm * 0.8;
    form.points.push_back(p);
  }
  return form;
}

TEST(FormSweep, PhotosAloneByHand) {
  // u = 0.1: 0.1, -0.1, 0.3 and 0 are 1, 1, 9 and 0 in squares, one of four outside.
  const MeasuredForm one = by_hand({0.1, -0.1, 0.3, 0}, 0.05), other = by_hand({0, 0}, 0.05);
  const FormCoverage c = coverage_of_photos({one, other});
  EXPECT_EQ(c.forms, 2u);
  EXPECT_EQ(c.points, 6u);
  EXPECT_NEAR(c.squares, (11 / 4.0 + 0) / 2, 1e-9);
  EXPECT_NEAR(c.within_u95, (0.75 + 1) / 2, 1e-9);
  EXPECT_NEAR(c.forms_all_in, 0.5, 1e-9);
  EXPECT_NEAR(c.rms_mm, std::sqrt(0.11 / 4 / 2), 1e-9);
}

// A budget that is scale and paper and nothing else, drawn from its own distributions: one in the mean.
TEST(FormSweep, ScaleAndPaperAreDrawnAsTheBudgetHasThem) {
  const FormCoverage c = coverage_of_all({by_hand({0}, 1e-6)}, 20000);
  EXPECT_NEAR(c.squares, 1, 0.03);
  EXPECT_NEAR(c.within_u95, 0.954, 0.01);
}

TEST(FormSweep, AFormComesBackFromItsText) {
  const MeasuredForm form = by_hand({0.25, -0.5}, 0.125);
  const MeasuredForm back = form_of_text(form_text(form));
  ASSERT_EQ(back.points.size(), 2u);
  EXPECT_EQ(back.name, "slope");
  EXPECT_EQ(back.points[1].error, -0.5);
  EXPECT_EQ(back.points[1].budget.bend, 0.125);
  EXPECT_EQ(back.points[0].rz.y(), 40);
}

// A shape that no layout fits is left out by the sweep; they are few.
TEST(FormSweep, NearlyEveryFormCanBeBuilt) {
  int built = 0;
  for (int seed = 1; seed <= 8; ++seed) {
    try {
      built += renderer::make_scene(bare_form_scene(seed)).rings_placed() == 0;
    } catch (const core::InputError&) {
    }
  }
  EXPECT_GE(built, 7);
}

}  // namespace
}  // namespace interstice::sweep
