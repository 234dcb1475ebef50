// Papers that touch on the glass: told apart, told of, and never a paper of one piece cut in two.
#include "layout/paper_parting.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>

#include "geometry/polygon.h"
#include "layout/flatbed.h"
#include "layout/outline_distance.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using geometry::Polygon;
constexpr double kHalfTurn = std::numbers::pi;

Polygon placed(const Polygon& shape, double turn_deg, const Vector2d& at) {
  const double a = turn_deg * kHalfTurn / 180;
  Polygon out;
  for (const Vector2d& p : shape)
    out.emplace_back(std::cos(a) * p.x() - std::sin(a) * p.y() + at.x(),
                     std::sin(a) * p.x() + std::cos(a) * p.y() + at.y());
  return out;
}

Polygon rectangle(double width, double height) {
  return {
      {-width / 2, -height / 2}, {width / 2, -height / 2}, {width / 2, height / 2}, {-width / 2, height / 2}};
}

layout::PaperPage read(const std::vector<Polygon>& papers, double height_mm = 120) {
  flatbed::SheetOptions options;
  options.dpi = 250;
  return layout::read_papers(flatbed::drawn(papers, height_mm, options).picture, options.check_line_mm);
}

// The paper of the page whose middle is nearest, its outline on the sheet, against what was drawn.
struct Against {
  double rms = 0, worst = 0, area_off = 0;
};

Against against(const layout::PaperPage& page, const Polygon& drawn) {
  Against best;
  double nearest = 1e9;
  for (const layout::PaperPiece& piece : page.pieces) {
    Polygon mm;
    for (const Vector2d& px : piece.outline_px)
      mm.emplace_back((px.x() + 0.5) * page.mm_per_px, -(px.y() + 0.5) * page.mm_per_px);
    const double away = (geometry::centroid(mm) - geometry::centroid(drawn)).norm();
    if (away > nearest) continue;
    nearest = away;
    best = {};
    for (const Vector2d& p : mm) {
      const double d = testing_layout::distance_to_outline(drawn, p);
      best.rms += d * d / static_cast<double>(mm.size()), best.worst = std::max(best.worst, d);
    }
    best.rms = std::sqrt(best.rms);
    best.area_off = std::abs(geometry::signed_area(piece.outline) - std::abs(geometry::signed_area(drawn)));
  }
  return best;
}

// A corner against a side, corner to corner, a small one against a large one, and three in a row; each turned.
TEST(PaperParting, PapersThatTouchAreTwo) {
  const Polygon large = rectangle(60, 46), small = rectangle(14, 12), middle = rectangle(34, 30);
  const double half = std::hypot(17, 15);  // of the middle one's diagonal, its corner to the right
  const double corner = std::atan2(15.0, 17.0) * 180 / kHalfTurn;
  struct Case {
    const char* name;
    std::vector<Polygon> papers;
  };
  for (const Case& c : std::vector<Case>{
           {"corner on a side", {placed(large, 0, {45, -60}), placed(middle, -corner, {75 + half, -60})}},
           {"corner on a corner",
            {placed(middle, corner, {50, -60}), placed(middle, 180 - corner, {50 + 2 * half, -60})}},
           {"a small one on a large one's side",
            {placed(large, 0, {50, -60}), placed(small, 25, {88.7, -52})}},
           {"three in a row",
            {placed(middle, -corner, {40, -60}), placed(small, 20, {40 + half + 8.3, -60}),
             placed(large, 0, {40 + half + 8.3 + 8.3 + 30, -60})}}}) {
    const layout::PaperPage page = read(c.papers);
    ASSERT_EQ(page.pieces.size(), c.papers.size()) << c.name;
    // Where hardly a pixel holds them together they are apart, and there is nothing to tell.
    EXPECT_LT(page.look_again.size(), c.papers.size()) << c.name;
    EXPECT_TRUE(page.left_out.empty()) << c.name;
    for (const Polygon& paper : c.papers) {
      const Against a = against(page, paper);
      EXPECT_LT(a.rms, 0.12) << c.name;
      EXPECT_LT(a.worst, 1.0) << c.name;
    }
  }
}

// Closer than a pencil line is wide, but with the background between them: two, and nothing to tell.
TEST(PaperParting, AHairsBreadthApartIsApart) {
  const Polygon one = rectangle(40, 34);
  const std::vector<Polygon> papers{placed(one, 0, {40, -60}), placed(one, 0, {80.5, -60})};
  const layout::PaperPage page = read(papers);
  ASSERT_EQ(page.pieces.size(), 2u);
  EXPECT_TRUE(page.look_again.empty());
  for (const Polygon& paper : papers) EXPECT_LT(against(page, paper).rms, 0.06);
}

// Touching the strip that the check line is drawn on: not lost with it.
TEST(PaperParting, APaperAtTheCheckLinesStripIsNoPartOfIt) {
  const Polygon paper = placed(rectangle(40, 34), 15, Vector2d(0, 0));
  double top = 0;
  for (const Vector2d& p : paper) top = std::max(top, p.y());
  const Polygon touching = placed(paper, 0, {100, -17 - top + 0.2});
  const layout::PaperPage page = read({touching, placed(rectangle(40, 34), 0, {40, -80})});
  ASSERT_EQ(page.pieces.size(), 2u);
  EXPECT_LT(against(page, touching).rms, 0.15);
}

TEST(PaperParting, AScrapIsToldOf) {
  const layout::PaperPage page =
      read({placed(rectangle(40, 34), 0, {40, -60}), placed(rectangle(6, 5), 0, {100, -60})});
  EXPECT_EQ(page.pieces.size(), 1u);
  ASSERT_EQ(page.left_out.size(), 1u);
  EXPECT_NE(page.left_out[0].find("a scrap of "), std::string::npos) << page.left_out[0];
  EXPECT_NE(page.left_out[0].find("near x = 100, y = 60 mm"), std::string::npos) << page.left_out[0];
}

cv::Mat mask_of(const Polygon& polygon, int side) {
  cv::Mat mask(side, side, CV_8U, cv::Scalar(0));
  std::vector<cv::Point> line;
  for (const Vector2d& p : polygon)
    line.emplace_back(cvRound(p.x() + side / 2.0), cvRound(p.y() + side / 2.0));
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{line}, cv::Scalar(255));
  return mask;
}

// Convex shapes have no neck, whatever they are and however they lie: 200 of them.
TEST(PaperParting, AConvexPaperIsOne) {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> even(0, 1);
  for (int k = 0; k < 200; ++k) {
    const double a = 20 + 50 * even(random), b = 20 + 50 * even(random), turn = 2 * kHalfTurn * even(random);
    std::vector<double> angles;
    for (int i = 0; i < 4 + k % 5; ++i) angles.push_back(2 * kHalfTurn * even(random));
    std::sort(angles.begin(), angles.end());
    Polygon shape;
    for (const double t : angles) shape.emplace_back(a * std::cos(t), b * std::sin(t));
    const auto necks =
        layout::paper_necks(mask_of(placed(shape, turn * 180 / kHalfTurn, Vector2d(0, 0)), 160), 8, 200);
    EXPECT_TRUE(necks.empty()) << k << ": " << necks[0].of_width;
  }
}

// A waist of seven tenths may be a piece: told, not cut. One of a half is two.
TEST(PaperParting, AWaistIsToldAndANeckIsCut) {
  const auto dumb_bell = [](double waist) {
    Polygon shape;
    for (int i = 0; i <= 60; ++i)
      shape.emplace_back(i - 30.0, 20 - (20 - 20 * waist) * std::exp(-std::pow((i - 30) / 6.0, 2)));
    for (int i = 60; i >= 0; --i) shape.emplace_back(i - 30.0, -shape[static_cast<std::size_t>(i)].y());
    return shape;
  };
  const auto told = layout::paper_necks(mask_of(dumb_bell(0.55), 120), 8, 200);
  ASSERT_EQ(told.size(), 1u);
  EXPECT_GE(told[0].of_width, layout::kNeck);
  EXPECT_LT(told[0].of_width, layout::kWaist);
  const auto cut = layout::paper_necks(mask_of(dumb_bell(0.3), 120), 8, 200);
  ASSERT_EQ(cut.size(), 1u);
  EXPECT_LT(cut[0].of_width, layout::kNeck);
  EXPECT_NEAR(cut[0].middle_px().x(), 60, 2);
  EXPECT_NEAR(cut[0].width_px(), 12, 2);
}

}  // namespace
}  // namespace interstice
