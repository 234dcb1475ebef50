// Grid, filled heights, and the dense comparison of photos on a rendered sphere.
#include "surface/height_field.h"

#include <gtest/gtest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "surface/map_picture.h"
#include "surface/shell_plan.h"
#include "surface/sphere_scene.h"
#include "surface/surface.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

TEST(MapGrid, CellsAndMapUndoEachOther) {
  const surface::MapGrid grid = surface::MapGrid::covering(157.3, 0.5);
  EXPECT_EQ(grid.side() % 2, 1);
  EXPECT_EQ(grid.uv(grid.centre, grid.centre), Vector2d(0, 0));
  EXPECT_GT(grid.uv(grid.side() - 1, grid.centre).x(), 157.3);
  EXPECT_GT(grid.uv(grid.centre, 0).y(), 157.3);  // v up: the first row is the highest
  for (const auto& [column, row] : {std::pair(0, 0), std::pair(17, 301), std::pair(600, 5)})
    EXPECT_LT((grid.cell(grid.uv(column, row)) - Vector2d(column, row)).norm(), 1e-12);
}

TEST(FilledHeights, KnownCellsStayAndHolesTakeTheirSurroundings) {
  surface::HeightField field;
  field.grid = {1.0, 40};
  field.height = cv::Mat(81, 81, CV_32F, cv::Scalar(NAN));
  field.height(cv::Rect(10, 10, 40, 40)).setTo(12.5);
  field.height(cv::Rect(20, 20, 3, 3)).setTo(NAN);
  const cv::Mat filled = surface::filled_heights(field, 7);
  EXPECT_EQ(filled.at<float>(30, 30), 12.5f);
  EXPECT_NEAR(filled.at<float>(21, 21), 12.5f, 1e-4f);
  EXPECT_NEAR(filled.at<float>(30, 51), 12.5f, 1e-4f);  // a cell beyond the known ones
  EXPECT_EQ(cv::countNonZero(filled == filled), 81 * 81);
  surface::HeightField nothing = field;
  nothing.height.setTo(NAN);
  const cv::Mat fallback = surface::filled_heights(nothing, 7);
  EXPECT_EQ(cv::countNonZero(fallback == 7.0f), 81 * 81);
}

TEST(Heights, OfASphereAreFound) {
  const geometry::Profile form = testing_plan::dome(100);
  for (const double height : {0.3, 11.8}) {
    const Sphere s = rendered(height);
    const surface::MapGrid grid = surface::MapGrid::covering(80, 2.0);
    surface::HeightOptions options;
    const surface::HeightField field = surface::sweep_heights(s.scan, s.pictures, form, grid, options);
    double sum = 0, squares = 0;
    int known = 0, all = 0;
    for (int r = 0; r < grid.side(); ++r) {
      for (int c = 0; c < grid.side(); ++c) {
        if (grid.uv(c, r).norm() > 70) continue;
        ++all;
        const double h = double(field.height.at<float>(r, c));
        if (!std::isfinite(h)) continue;
        ++known;
        sum += h - height;
        squares += (h - height) * (h - height);
      }
    }
    EXPECT_GT(known, 0.9 * all);
    EXPECT_LT(std::abs(sum / known), 0.1) << height;
    EXPECT_LT(std::sqrt(squares / known), 0.3) << height;
    // The same bytes whatever the threads.
    options.threads = 1;
    const surface::HeightField one = surface::sweep_heights(s.scan, s.pictures, form, grid, options);
    options.threads = 3;
    const surface::HeightField three = surface::sweep_heights(s.scan, s.pictures, form, grid, options);
    EXPECT_EQ(std::memcmp(one.height.data, three.height.data, one.height.total() * sizeof(float)), 0);
  }
}

// The same comparison written plainly, one sample after another in double precision.
double plain_agreement(const Sphere& s, const geometry::Profile& form, const Vector2d& uv, double height,
                       const std::vector<geometry::PhotoIndex>& views) {
  std::vector<std::vector<double>> patches;
  for (const geometry::PhotoIndex i : views) {
    const scan::ScannedPhoto& photo = s.scan.photos[i];
    const Vector3d p = form.point(uv, height);
    const Vector2d at = photo.project(p), dx = photo.project(p + 0.75 * form.along_ring(uv)) - at,
                   dy = photo.project(p + 0.75 * form.towards_pole(uv)) - at;
    std::vector<double> patch;
    for (int b = -2; b <= 2; ++b) {
      for (int a = -2; a <= 2; ++a) {
        const Vector2d q = at + a * dx + b * dy;
        patch.push_back(double(surface::sample(s.pictures[i].grey, q.x(), q.y())));
      }
    }
    double mean = 0, squares = 0;
    for (const double v : patch) mean += v / 25;
    for (double& v : patch) v -= mean, squares += v * v;
    if (!(squares >= 1)) continue;
    for (double& v : patch) v /= std::sqrt(squares);
    patches.push_back(patch);
  }
  double sum = 0;
  int pairs = 0;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    for (std::size_t j = i + 1; j < patches.size(); ++j, ++pairs) {
      for (std::size_t k = 0; k < 25; ++k) sum += patches[i][k] * patches[j][k];
    }
  }
  return pairs > 0 ? sum / pairs : -1;
}

TEST(Heights, FourSamplesAtATimeAreThePlainComparison) {
  const geometry::Profile form = testing_plan::dome(100);
  const Sphere s = rendered(5);
  const surface::MapGrid grid = surface::MapGrid::covering(60, 6.0);
  surface::HeightOptions options;
  options.pool_mm = 0;  // every cell by itself
  const surface::HeightField field = surface::sweep_heights(s.scan, s.pictures, form, grid, options);
  int cells = 0;
  for (int r = 0; r < grid.side(); ++r) {
    for (int c = 0; c < grid.side(); ++c) {
      const Vector2d uv = grid.uv(c, r);
      if (uv.norm() > 55) continue;
      const auto views = surface::views_of(s.scan, form.point(uv, 9), form.normal(uv), options.views);
      double best = -1;
      for (double h = options.lowest_mm; h <= options.highest_mm; h += options.step_mm)
        best = std::max(best, plain_agreement(s, form, uv, h, views));
      EXPECT_NEAR(double(field.agreement.at<float>(r, c)), best, 1e-4) << uv.transpose();
      ++cells;
    }
  }
  EXPECT_GT(cells, 200);
}

TEST(MapPicture, ShowsTheTextureAtItsPlaceAndNothingUnseen) {
  const geometry::Profile form = testing_plan::dome(100);
  const Sphere s = rendered(5);
  const surface::MapGrid grid = surface::MapGrid::covering(form.length() + 2, 2.0);
  const cv::Mat map = surface::map_picture(s.scan, s.pictures, form, grid, 5, {}, 2, 2);
  // Two photos each laid out alone agree where both see the form.
  const cv::Mat one = surface::map_picture(s.scan, s.pictures, form, grid, 5, {}, 1, 2);
  double difference = 0;
  int n = 0;
  for (int r = 0; r < grid.side(); ++r) {
    for (int c = 0; c < grid.side(); ++c) {
      if (grid.uv(c, r).norm() > 80) continue;
      const float a = map.at<cv::Vec3f>(r, c)[0], b = one.at<cv::Vec3f>(r, c)[0];
      if (!std::isfinite(a) || !std::isfinite(b)) continue;
      difference += double(std::abs(a - b));
      ++n;
    }
  }
  EXPECT_GT(n, 3000);
  EXPECT_LT(difference / n, 4);
  EXPECT_TRUE(std::isnan(map.at<cv::Vec3f>(0, 0)[0]));
  // A camera below the rim plane's horizon of a place does not see it.
  EXPECT_TRUE(surface::views_of(s.scan, form.point({0, 0}), -form.normal({0, 0}), 9).empty());
  EXPECT_EQ(surface::views_of(s.scan, form.point({0, 0}), form.normal({0, 0}), 9).size(), 7u);
  EXPECT_EQ(surface::views_of(s.scan, form.point({0, 0}), form.normal({0, 0}), 3).size(), 3u);
}

// Fifty more photos from where one was taken, a degree and less apart, change nothing of what heights are
// measured in.
TEST(SpreadViews, LeaveOutPhotosFromTheSamePlace) {
  const geometry::Profile form = testing_plan::dome(100);
  Sphere s = rendered(5);
  const Vector3d p = form.point({20, 10}), normal = form.normal({20, 10});
  const std::vector<geometry::PhotoIndex> few = surface::spread_views_of(s.scan, p, normal, 5);
  ASSERT_EQ(few.size(), 5u);
  EXPECT_EQ(few, surface::views_of(s.scan, p, normal, 5));  // 50 degrees and more apart
  const scan::ScannedPhoto best = s.scan.photos[few.front()];
  for (int i = 1; i <= 50; ++i) {
    scan::ScannedPhoto other = best;
    other.camera_T_bowl = best.camera_T_bowl * Eigen::AngleAxisd(0.0003 * i, Vector3d::UnitZ());
    s.scan.photos.push_back(other);
  }
  std::vector<Vector3d> before, after;
  for (const geometry::PhotoIndex i : few) before.push_back(s.scan.photos[i].centre());
  for (const geometry::PhotoIndex i : surface::spread_views_of(s.scan, p, normal, 5))
    after.push_back(s.scan.photos[i].centre());
  ASSERT_EQ(after.size(), 5u);
  for (std::size_t k = 0; k < 5; ++k) EXPECT_LT((after[k] - before[k]).norm(), 10) << k;
}

}  // namespace
}  // namespace interstice
