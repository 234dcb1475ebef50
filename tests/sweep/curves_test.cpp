// The sweep's arithmetic on numbers worked out by hand.
#include "sweep/curves.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "renderer/scene.h"

namespace interstice::sweep {
namespace {

constexpr const char* kTruth = R"({"smallest_fill": 3.0, "seams": [
  {"tiles": ["A01", "A02"], "mouth_mm": 2.0, "length_mm": 30},
  {"tiles": ["A02", "A03"], "mouth_mm": 4.0, "length_mm": 30},
  {"tiles": ["A03", "A04"], "mouth_mm": 2.5, "length_mm": 20},
  {"tiles": ["A01", "A03"], "mouth_mm": 5.0, "length_mm": 4},
  {"tiles": ["A05", "A06"], "mouth_mm": 8.5, "length_mm": 30},
  {"tiles": ["A07", "A08"], "mouth_mm": 3.5, "length_mm": 12}]})";
constexpr const char* kFit = R"({"seams": [
  {"tiles": ["A02", "A01"], "narrowest_mm": 2.3, "u95_mm": 0.2, "verdict": "too tight"},
  {"tiles": ["A02", "A03"], "narrowest_mm": 3.9, "u95_mm": 0.2, "verdict": "too tight"},
  {"tiles": ["A03", "A04"], "narrowest_mm": null, "u95_mm": null, "verdict": "unseen"},
  {"tiles": ["A05", "A06"], "narrowest_mm": 8.5, "u95_mm": 0.2, "verdict": "clear"}]})";

TEST(Sweep, JoinsByLabelsAndCountsOnlySeams) {
  const RunResult run = joined(kFit, kTruth);
  ASSERT_EQ(run.seams.size(), 4u);
  EXPECT_EQ(run.seams[0].measured_mm, 2.3);
  EXPECT_FALSE(run.seams[2].measured_mm.has_value());
  EXPECT_EQ(run.seams[3].verdict, "not reported");
}

TEST(Sweep, SummaryByHand) {
  RunResult clear_but_tight;
  clear_but_tight.seams = {{2.0, 2.9, 0.1, "clear"}};
  RunResult failed = joined(R"({"seams": []})", kTruth);
  failed.exit_code = 3;
  const Summary s = summary({joined(kFit, kTruth), clear_but_tight, failed});
  EXPECT_EQ(s.seams, 9);
  EXPECT_EQ(s.measured, 3);
  EXPECT_EQ(s.failed_runs, 1);
  // Errors +0.3, -0.1, +0.9.
  EXPECT_NEAR(s.bias_mm, 1.1 / 3, 1e-12);
  EXPECT_NEAR(s.rms_mm, std::sqrt(0.91 / 3), 1e-12);
  EXPECT_NEAR(s.median_abs_mm, 0.3, 1e-12);
  EXPECT_NEAR(s.coverage, 1.0 / 3, 1e-12);
  EXPECT_EQ(s.tight_called_clear, 1);
  EXPECT_EQ(s.clear_called_tight, 1);
  EXPECT_TRUE(std::isnan(summary({failed}).rms_mm));
}

TEST(Sweep, Quantile) {
  EXPECT_EQ(quantile({4, 1, 3, 2}, 0.5), 2.5);
  EXPECT_EQ(quantile({7}, 0.95), 7);
  EXPECT_TRUE(std::isnan(quantile({}, 0.5)));
}

TEST(Sweep, EveryPointIsASceneThatCanBeBuilt) {
  for (const Series& series : all_series()) {
    for (const Point& point : series.points) {
      EXPECT_NO_THROW(renderer::check_options(scene_of(point, 1))) << series.name << point.label;
    }
  }
  // Only the gap changes the pieces.
  const Series gaps = all_series().front();
  for (const Point* end : {&gaps.points.front(), &gaps.points.back()}) {
    EXPECT_GE(renderer::make_scene(scene_of(*end, 1)).seams.size(), 25u) << end->label;
  }
}

TEST(Sweep, APointOfTheBaseSceneHasNothingSet) {
  for (const Series& series : all_series()) {
    const auto bare = std::count_if(series.points.begin(), series.points.end(),
                                    [](const Point& p) { return p.settings.empty(); });
    EXPECT_EQ(bare, 1) << series.name;  // one run serves all series
  }
}

TEST(Sweep, SortedByRing) {
  const RunResult run = joined(R"({"seams": []})", R"({"smallest_fill": 3.0,
    "tiles": [{"label": "A01", "ring": 1}, {"label": "A02", "ring": 1}, {"label": "B01", "ring": 2},
              {"label": "C01", "ring": 3}],
    "seams": [{"tiles": ["A01", "A02"], "mouth_mm": 2.0, "length_mm": 30},
              {"tiles": ["B01", "A02"], "mouth_mm": 2.0, "length_mm": 30},
              {"tiles": ["A01", "B01"], "mouth_mm": 2.0, "length_mm": 30},
              {"tiles": ["B01", "C01"], "mouth_mm": 2.0, "length_mm": 30}]})");
  const Curve curve = by_ring({run});
  ASSERT_EQ(curve.points.size(), 3u);
  EXPECT_EQ(curve.points[0].seams, 1);
  EXPECT_EQ(curve.points[1].seams, 2);
  EXPECT_EQ(curve.points[2].seams, 1);
}

TEST(Sweep, SortedByTrueWidth) {
  RunResult run;
  run.seams = {{0.4, 0.5, 0.2, "too tight"}, {0.5, 0.4, 0.2, "too tight"}, {8.0, 8.3, 0.2, "clear"}};
  const Curve curve = by_true_width({run});
  EXPECT_EQ(curve.points.size(), curve.series.points.size());
  EXPECT_EQ(curve.points[0].seams, 1);
  EXPECT_NEAR(curve.points[0].bias_mm, 0.1, 1e-12);
  EXPECT_EQ(curve.points[1].seams, 1);
  EXPECT_NEAR(curve.points[1].bias_mm, -0.1, 1e-12);
  EXPECT_EQ(curve.points.back().seams, 1);
  EXPECT_NEAR(curve.points.back().rms_mm, 0.3, 1e-12);
}

TEST(Sweep, TableAndPictureHoldEveryPoint) {
  Curve curve;
  curve.series = all_series()[0];
  curve.points.resize(curve.series.points.size(), summary({joined(kFit, kTruth)}));
  const std::string table = markdown({curve}, "# Curves\n"), picture = svg({curve});
  std::size_t rows = 0, dots = 0;
  for (std::size_t at = table.find("2 of 4"); at != std::string::npos; at = table.find("2 of 4", at + 1))
    ++rows;
  for (std::size_t at = picture.find("<circle"); at != std::string::npos;
       at = picture.find("<circle", at + 1))
    ++dots;
  EXPECT_EQ(rows, curve.points.size());
  EXPECT_EQ(dots, curve.points.size());
  EXPECT_EQ(picture.find("nan"), std::string::npos);
}

TEST(Sweep, AllOfThemHoldsEveryEffectAsIsUsual) {
  const std::vector<Series> series = all_series();
  const renderer::SceneOptions all = scene_of(series.back().points.back(), 1), base = base_scene();
  EXPECT_EQ(series.back().name, "all");
  EXPECT_EQ(all.build.corner_most_mm, 0.6);
  EXPECT_EQ(all.build.waver_deg, 1.5);
  EXPECT_GT(all.build.round_mm, base.build.round_mm);
  EXPECT_GT(all.build.glue_in_seams, base.build.glue_in_seams);
  EXPECT_TRUE(all.look.labels);
  EXPECT_GT(all.look.pencil_jitter_mm, base.look.pencil_jitter_mm);
  EXPECT_GT(all.cards.curl_mm, base.cards.curl_mm);
  EXPECT_EQ(all.camera.row_shift_px, 1.5);
  EXPECT_EQ(all.camera.lens_wave_px, 0.3);
  EXPECT_EQ(all.camera.motion_share, 0.25);
  EXPECT_EQ(all.camera.motion_px, base.camera.motion_px);
  EXPECT_EQ(all.camera.processing, 0.5);
  EXPECT_EQ(all.camera.tone, 0.5);
}

}  // namespace
}  // namespace interstice::sweep
