// How far the form lies off its drawing, from heights that were made with a known offset.
#include "surface/form_offset.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "surface/shell_plan.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using testing_plan::shell_plan;

surface::HeightField unknown_heights(const plan::Plan& plan) {
  surface::HeightField field;
  field.grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  field.height = cv::Mat(field.grid.side(), field.grid.side(), CV_32F, cv::Scalar(NAN));
  field.agreement = cv::Mat(field.grid.side(), field.grid.side(), CV_32F, cv::Scalar(0.9));
  return field;
}

double bulge(double s) {
  return 0.7 - 1.1 * s + 0.5 * s * s;
}

// Heights of the faces (or of the bare form) of a form off by bulge(rho / length), pieces lifted by 0.3 mm
// here and there, cells with noise, some wildly wrong.
surface::HeightField made(const plan::Plan& plan, bool faces, double glue) {
  surface::HeightField field = unknown_heights(plan);
  std::mt19937 random(2);
  std::normal_distribution<double> noise(0, 0.2), lift(0, 0.2);
  for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
    const double up = faces ? lift(random) + glue : 0;
    for (const surface::FaceCell& cell : surface::face_cells(plan, geometry::TileIndex(t), field.grid, 0)) {
      const double s = field.grid.uv(cell.column, cell.row).norm() / plan.profile.length();
      double h = (faces ? cell.planned_mm : 0) + bulge(s) + up + noise(random);
      if (random() % 10 == 0) h += 6;
      field.height.at<float>(cell.row, cell.column) = float(h);
    }
  }
  return field;
}

TEST(FormOffset, BareFormTellsItsOffset) {
  const plan::Plan plan = shell_plan();
  const std::vector<double> offsets = surface::form_offsets(made(plan, false, 0), plan);
  ASSERT_EQ(offsets.size(), plan.profile.points().size());
  for (std::size_t i = 0; i < offsets.size(); ++i) {
    const double s = double(i) / double(offsets.size() - 1);  // the dome's points are evenly spaced
    if (s < 0.3) continue;                                    // the innermost pieces' centres lie at 0.35
    EXPECT_NEAR(offsets[i], bulge(s), 0.12) << s;
  }
}

// Under pieces the film of glue cannot be told apart: the offset is right to some tenths.
TEST(FormOffset, FacesTellItToo) {
  const plan::Plan plan = shell_plan();
  const std::vector<double> offsets = surface::form_offsets(made(plan, true, 0.2), plan);
  for (std::size_t i = 0; i < offsets.size(); ++i) {
    const double s = double(i) / double(offsets.size() - 1);
    if (s < 0.3) continue;  // the innermost pieces' centres lie at 0.35
    EXPECT_NEAR(offsets[i], bulge(s), 0.3) << s;
  }
}

TEST(FormOffset, NothingKnownIsNoOffset) {
  const plan::Plan plan = shell_plan();
  for (const double offset : surface::form_offsets(unknown_heights(plan), plan)) EXPECT_EQ(offset, 0);
}

// A face's plane over the sphere: the planned height rises from the stock's thickness at its centre by
// (R + T) / cos(c) - (R + T), seen at the angle c from the face's normal.
TEST(FaceCells, HeightsAreThoseOfTheFacePlane) {
  const plan::Plan plan = shell_plan();
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, 1.0);
  for (std::size_t t = 0; t < plan.tiles.size(); t += 5) {
    const geometry::TileIndex tile(t);
    const Eigen::Vector3d normal = plan.profile.normal(geometry::centroid(plan.tiles[tile].outline));
    const std::vector<surface::FaceCell> cells = surface::face_cells(plan, tile, grid, 1.0);
    EXPECT_GT(cells.size(), 200u);
    for (const surface::FaceCell& cell : cells) {
      const double cosine = plan.profile.normal(grid.uv(cell.column, cell.row)).dot(normal);
      EXPECT_NEAR(cell.planned_mm, 112 / cosine - 100, 0.02);
    }
    EXPECT_LT(surface::face_cells(plan, tile, grid, 4.0).size(), cells.size());
  }
}

}  // namespace
}  // namespace interstice
