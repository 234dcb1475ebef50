// The outer face over the arris plane from heights of known shape.
#include "edges/face_above.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <opencv2/core.hpp>
#include <random>

#include "edges/face_start.h"
#include "plan/piece_model.h"
#include "seams/fit_document.h"
#include "surface/form_offset.h"
#include "surface/shell_plan.h"

namespace interstice {
namespace {

constexpr geometry::TileIndex kTile{4};

// Heights as a face `above_mm` over the planned one gives them, with noise and a share of heights gone
// astray.
surface::HeightField heights(const plan::Plan& plan, double above_mm, double astray) {
  surface::HeightField field;
  field.grid = surface::MapGrid::covering(plan.profile.length(), 1.0);
  field.height = cv::Mat(field.grid.side(), field.grid.side(), CV_32F,
                         cv::Scalar(std::numeric_limits<float>::quiet_NaN()));
  const Eigen::Vector3d normal = plan::planned_face(plan, kTile).frame.normal;
  std::mt19937 random(7);
  std::normal_distribution<double> noise(0, 0.1);
  std::uniform_real_distribution<double> unit(0, 1);
  for (const surface::FaceCell& cell : surface::face_cells(plan, kTile, field.grid, 0)) {
    const double lean = plan.profile.normal(field.grid.uv(cell.column, cell.row)).dot(normal);
    double h = cell.planned_mm + above_mm / lean + noise(random);
    if (unit(random) < astray) h += 2 + unit(random);
    field.height.at<float>(cell.row, cell.column) = static_cast<float>(h);
  }
  return field;
}

std::optional<double> found(double above_mm, double astray = 0.1) {
  const plan::Plan plan = testing_plan::shell_plan();
  const plan::PieceFace planned = plan::planned_face(plan, kTile);
  return edges::face_above_arris(heights(plan, above_mm, astray), plan, planned.frame, planned.outline);
}

TEST(FaceAbove, IsFoundThroughNoiseAndStrays) {
  for (const double above : {0.1, 0.3, 0.6}) {
    const auto mm = found(above);
    ASSERT_TRUE(mm);
    EXPECT_NEAR(*mm, above, 0.04);  // a tenth of strays moves a median by 0.125 of the noise's sd
  }
}

TEST(FaceAbove, StaysWithinWhatABreakCanBe) {
  EXPECT_DOUBLE_EQ(found(-0.5, 0).value(), 0.0);
  EXPECT_DOUBLE_EQ(found(2.0, 0).value(), 1.2);  // a tenth of 12 mm stock
}

TEST(FaceAbove, SaysNothingFromAFewCells) {
  const plan::Plan plan = testing_plan::shell_plan();
  const plan::PieceFace planned = plan::planned_face(plan, kTile);
  surface::HeightField field = heights(plan, 0.3, 0);
  EXPECT_TRUE(edges::face_above_arris(field, plan, planned.frame, planned.outline));
  int left = 25;
  for (auto h = field.height.begin<float>(); h != field.height.end<float>(); ++h) {
    if (std::isfinite(*h) && --left < 0) *h = std::numeric_limits<float>::quiet_NaN();
  }
  EXPECT_FALSE(edges::face_above_arris(field, plan, planned.frame, planned.outline));
}

// A strip of heights along one side says little about the face's tilt: such a piece is not called placed, as
// its edges would be looked for in the wrong place.
TEST(FaceStart, AFaceKnownTooPoorlyToLookForEdgesIsUnseen) {
  const plan::Plan plan = testing_plan::shell_plan();
  surface::HeightField field = heights(plan, 0.3, 0.3);
  const edges::FaceStart whole = edges::start_face(field, plan, kTile);
  EXPECT_EQ(whole.state, plan::TileState::placed);
  EXPECT_LT(whole.height_sd_mm, 0.1);
  std::size_t known = 0, left = 0;
  for (const float h : cv::Mat_<float>(field.height)) known += std::isfinite(h) ? 1 : 0;
  for (auto h = field.height.begin<float>(); h != field.height.end<float>(); ++h) {
    if (std::isfinite(*h) && ++left > known / 8) *h = std::numeric_limits<float>::quiet_NaN();
  }
  const edges::FaceStart strip = edges::start_face(field, plan, kTile);
  EXPECT_GT(strip.known, 0.08);
  EXPECT_GT(strip.near_face, 0.5);
  EXPECT_EQ(strip.state, plan::TileState::unseen)
      << strip.known << " " << strip.height_sd_mm << " " << strip.tilt_sd;
}

TEST(FaceAbove, UnknownPiecesTakeTheUsualBreak) {
  EXPECT_EQ(edges::with_median_for_unknown({0.3, std::nullopt, 0.2, 0.4}),
            (std::vector<double>{0.3, 0.3, 0.2, 0.4}));
  EXPECT_EQ(edges::with_median_for_unknown({std::nullopt}), std::vector<double>{0.0});
}

TEST(FaceAbove, StandsInTheDocumentAndMayBeMissing) {
  seams::FitDocument fit;
  fit.tiles.resize(1);
  fit.tiles[0].label = "A01";
  fit.tiles[0].state = plan::TileState::placed;
  fit.tiles[0].face_above_arris_mm = 0.3125;
  const std::string text = seams::write_fit(fit);
  EXPECT_DOUBLE_EQ(seams::parse_fit(text, "fit.json").tiles[0].face_above_arris_mm, 0.3125);
  std::string older = text;
  const std::string key = "\"face_above_arris_mm\":0.3125,";
  ASSERT_NE(older.find(key), std::string::npos);
  older.erase(older.find(key), key.size());
  EXPECT_DOUBLE_EQ(seams::parse_fit(older, "fit.json").tiles[0].face_above_arris_mm, 0.0);
}

}  // namespace
}  // namespace interstice
