// Papers on a flatbed, read and laid back on the form they were taken from; pictures drawn by the test.
#include <gtest/gtest.h>

#include <map>

#include "core/errors.h"
#include "geometry/region.h"
#include "layout/flatbed.h"
#include "layout/forms.h"
#include "layout/layout.h"
#include "layout/outline_distance.h"
#include "layout/paper_pose.h"
#include "layout/paper_trace.h"
#include "solid/piece_body.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

const geometry::Profile& paper_form() {
  static const geometry::Profile bowl = testing_forms::superellipse(110, 85, 2.2);
  return bowl;
}

const layout::Layout& paper_layout() {
  static const layout::Layout made = [] {
    layout::LayoutOptions options;
    options.piece_size_mm = 48;
    options.seed = 3;
    return layout::make_layout(paper_form(), options);
  }();
  return made;
}

struct Papers {
  flatbed::Sheet sheet;
  layout::PaperPage page;
  std::vector<std::size_t> found;  // by paper given: which of the page's pieces
  std::string labels;              // the maker's file
};

Papers photographed(const std::vector<geometry::Polygon>& on_map, const flatbed::SheetOptions& options) {
  Papers p;
  std::vector<geometry::Polygon> flat;
  for (const geometry::Polygon& outline : on_map) flat.push_back(flatbed::flattened(paper_form(), outline));
  p.sheet = flatbed::scanned(flat, options);
  p.page = layout::read_papers(p.sheet.picture, options.check_line_mm);
  for (std::size_t i = 0; i < on_map.size(); ++i) {
    std::size_t nearest = 0;
    double best = 1e9;
    for (std::size_t k = 0; k < p.page.pieces.size(); ++k) {
      Vector2d middle(0, 0);
      for (const Vector2d& q : p.page.pieces[k].outline_px)
        middle += q / double(p.page.pieces[k].outline_px.size());
      if ((middle - p.sheet.middles_px[i]).norm() < best)
        best = (middle - p.sheet.middles_px[i]).norm(), nearest = k;
    }
    p.found.push_back(nearest);
    p.labels +=
        layout::proposed_name(nearest) + "," + paper_layout().plan.tiles[geometry::TileIndex(i)].label + "\n";
  }
  return p;
}

// Over a place of the tangent plane at `middle`, on the form.
Vector2d above(const Vector2d& middle, const Vector2d& in_plane) {
  const Vector3d n = paper_form().normal(middle), base = paper_form().point(middle);
  const Vector3d at = base + in_plane.x() * paper_form().along_ring(middle) +
                      in_plane.y() * paper_form().towards_pole(middle);
  Vector3d p = at;
  for (int k = 0; k < 6; ++k) p = at + n.dot(paper_form().point(paper_form().locate(p).uv) - base) * n;
  return paper_form().locate(p).uv;
}

// Each piece its own line, even gaps of 4 mm drawn on the form; the lowest stand on the rim.
std::vector<geometry::Polygon> own_lines() {
  constexpr double kHalfGap_mm = 2;
  const double rim = paper_form().length();
  std::vector<geometry::Polygon> out;
  for (const geometry::Polygon& cell : paper_layout().cells.cells) {
    const Vector2d middle = geometry::centroid(cell);
    const Vector3d base = paper_form().point(middle), x = paper_form().along_ring(middle),
                   y = paper_form().towards_pole(middle);
    geometry::Polygon plane, piece;
    for (Vector2d uv : geometry::resampled(cell, 0.5)) {
      if (uv.norm() > rim - 0.05) uv *= (rim + kHalfGap_mm) / uv.norm();
      const Vector3d d = paper_form().point(uv) - base;
      plane.emplace_back(d.dot(x), d.dot(y));
    }
    for (const Vector2d& p : geometry::largest(geometry::offset_round({plane}, -kHalfGap_mm)))
      piece.push_back(above(middle, p));
    out.push_back(piece);
  }
  return out;
}

const Papers& own_papers() {
  static const Papers papers = [] {
    const std::vector<geometry::Polygon> outlines = own_lines();
    flatbed::SheetOptions options;
    options.dpi = 297;  // the scanner's carriage runs a per cent off what the file says
    return photographed(outlines, options);
  }();
  return papers;
}

// Outlines as drawn on the sheet, in mm of the check line: a pixel is 0.086 mm.
TEST(Papers, OutlinesAreReadToAFractionOfAPixel) {
  const Papers& p = own_papers();
  ASSERT_EQ(p.page.pieces.size(), p.sheet.outlines_mm.size());
  EXPECT_NEAR(p.page.mm_per_px, 25.4 / 297, 25.4 / 297 * 2e-4);
  EXPECT_TRUE(p.page.left_out.empty());
  double squares = 0, n = 0, worst = 0;
  for (std::size_t i = 0; i < p.found.size(); ++i) {
    for (const Vector2d& px : p.page.pieces[p.found[i]].outline_px) {
      const Vector2d mm((px.x() + 0.5) * 25.4 / 297, -(px.y() + 0.5) * 25.4 / 297);
      const double d = testing_layout::distance_to_outline(p.sheet.outlines_mm[i], mm);
      squares += d * d, n += 1, worst = std::max(worst, d);
    }
  }
  std::printf("outlines rms %.3f worst %.3f mm\n", std::sqrt(squares / n), worst);
  EXPECT_LT(std::sqrt(squares / n), 0.035);
  EXPECT_LT(worst, 0.3);  // corners are rounded by what the scanner blurs
}

// Distance of the traced outlines from the true ones on the form, after the turn about the axis that is free.
struct Laid {
  double rms = 0, worst = 0, shape_rms = 0;
};

Laid compared(const plan::Plan& traced, const std::vector<geometry::Polygon>& truth) {
  std::map<std::string, const plan::PlannedTile*> by_label;
  for (const plan::PlannedTile& tile : traced.tiles) by_label[tile.label] = &tile;
  double cross = 0, dot = 0;
  const auto label = [&](std::size_t i) { return paper_layout().plan.tiles[geometry::TileIndex(i)].label; };
  for (std::size_t i = 0; i < truth.size(); ++i) {
    const Vector2d a = geometry::centroid(by_label.at(label(i))->outline), b = geometry::centroid(truth[i]);
    cross += a.x() * b.y() - a.y() * b.x(), dot += a.dot(b);
  }
  const double turn = std::atan2(cross, dot);
  Laid laid;
  double n = 0;
  for (std::size_t i = 0; i < truth.size(); ++i) {
    std::vector<Vector3d> line;
    for (const Vector2d& uv : geometry::resampled(truth[i], 0.5)) line.push_back(paper_form().point(uv));
    for (const Vector2d& uv : by_label.at(label(i))->outline) {
      const Vector2d at(std::cos(turn) * uv.x() - std::sin(turn) * uv.y(),
                        std::sin(turn) * uv.x() + std::cos(turn) * uv.y());
      const double d = geometry::nearest_on_closed(line, paper_form().point(at)).distance;
      laid.rms += d * d, n += 1, laid.worst = std::max(laid.worst, d);
    }
  }
  laid.rms = std::sqrt(laid.rms / n);
  std::printf("laid: rms %.3f worst %.3f mm, turn %.4f\n", laid.rms, laid.worst, turn);
  return laid;
}

TEST(Papers, EachPaperIsItsPieceAndComesBackToItsPlace) {
  const Papers& p = own_papers();
  const auto names = layout::read_paper_names(p.labels, "names.csv", p.page.pieces.size());
  layout::TraceOptions options;
  options.gap_mm = 4.2;
  const layout::TraceResult result = layout::trace_papers({p.page}, names, paper_form(), options, 2);
  EXPECT_FALSE(result.shared_lines);
  EXPECT_TRUE(result.left_out.empty());
  EXPECT_TRUE(result.look_again.empty()) << result.look_again.front();
  const Laid laid = compared(result.plan, own_lines());
  EXPECT_LT(laid.rms, 0.15);
  EXPECT_LT(laid.worst, 1);
  for (std::size_t i = 0; i < names.size(); ++i)
    EXPECT_EQ(result.plan.tiles[geometry::TileIndex(i)].ring, names[i].ring);
}

// Cut along one line: cells without gaps between them.
const Papers& shared_papers() {
  static const Papers papers = photographed(paper_layout().cells.cells, {});
  return papers;
}

TEST(Papers, CutAlongOneLineTheGapIsTakenOut) {
  const Papers& p = shared_papers();
  const auto names = layout::read_paper_names(p.labels, "names.csv", p.page.pieces.size());
  layout::TraceOptions options;
  options.gap_mm = paper_layout().plan.planned_gap_mm;
  options.bevel_deg = paper_layout().plan.bevel_deg;
  const layout::TraceResult result = layout::trace_papers({p.page}, names, paper_form(), options, 2);
  EXPECT_TRUE(result.shared_lines);
  EXPECT_TRUE(result.look_again.empty()) << result.look_again.front();
  std::vector<geometry::Polygon> truth;
  for (const plan::PlannedTile& tile : paper_layout().plan.tiles) truth.push_back(tile.outline);
  const Laid laid = compared(result.plan, truth);
  EXPECT_LT(laid.rms, 0.3);
  EXPECT_LT(laid.worst, 1.5);
}

// Two small papers and the check line, on whatever background.
flatbed::Sheet small_sheet(const flatbed::SheetOptions& options) {
  const geometry::Polygon five{{-20, -14}, {18, -18}, {24, 4}, {2, 19}, {-22, 10}};
  const geometry::Polygon four{{-12, -15}, {16, -12}, {12, 14}, {-16, 13}};
  return flatbed::scanned({five, four}, options);
}

TEST(Papers, OnALightSheetWithACheckLineThatHasNoTicks) {
  flatbed::SheetOptions options;
  options.dpi = 200;
  options.background = cv::Scalar(60, 160, 70);  // green, no darker than the brown papers
  options.ticks = false;
  const flatbed::Sheet sheet = small_sheet(options);
  const layout::PaperPage page = layout::read_papers(sheet.picture, 150);
  ASSERT_EQ(page.pieces.size(), 2u);
  EXPECT_NEAR(page.mm_per_px, 25.4 / 200, 25.4 / 200 * 1e-3);
  EXPECT_NEAR(geometry::signed_area(page.pieces[0].outline), geometry::signed_area(sheet.outlines_mm[0]), 6);
  EXPECT_NEAR(geometry::signed_area(page.pieces[1].outline), geometry::signed_area(sheet.outlines_mm[1]), 6);
}

TEST(Papers, APaperCutOffByThePictureIsNamed) {
  flatbed::SheetOptions options;
  options.dpi = 200;
  flatbed::Sheet sheet = small_sheet(options);
  const int last = cvRound(sheet.middles_px[1].x());  // the picture ends in the middle of the second paper
  sheet.picture.bgr = sheet.picture.bgr(cv::Rect(0, 0, last, sheet.picture.bgr.rows)).clone();
  const layout::PaperPage page = layout::read_papers(sheet.picture, last * 25.4 / 200 - 30);
  EXPECT_EQ(page.pieces.size(), 1u);
  ASSERT_EQ(page.left_out.size(), 2u);  // that and the check line's strip
}

TEST(Papers, PapersLikeTheirBackgroundAreRefused) {
  flatbed::SheetOptions options;
  options.dpi = 200;
  const flatbed::Sheet sheet = small_sheet(options);
  layout::PaperPicture pale{
      "pale.png", cv::Mat(sheet.picture.bgr.size(), CV_8UC3, cv::Scalar(240, 240, 240)), {}};
  cv::line(pale.bgr, {300, 100}, {1400, 100}, cv::Scalar(40, 40, 40), 3);
  EXPECT_THROW(layout::read_papers(pale, 140), core::MeasureError);
}

TEST(Papers, NamesComeInOrderOfRingAndNumber) {
  const auto names =
      layout::read_paper_names("P03,B10\nP01;A2\n# cut anew\nP02\tB2\nP04, cap, 3\n", "n.csv", 4);
  ASSERT_EQ(names.size(), 4u);
  EXPECT_EQ(names[0].label, "A2");
  EXPECT_EQ(names[1].label, "B2");
  EXPECT_EQ(names[2].label, "B10");
  EXPECT_EQ(names[3].ring, 3);
  EXPECT_EQ(names[3].paper, 3u);
}

// On a sphere straightest lines are great circles: a place s from the middle comes to lie at the angle f(s) / R,
// in its own direction. f is worked out here from the strain along (f' - 1) and across (R sin(f / R) / s - 1): a
// little more or less of either of its two terms strains a disc more.
TEST(Papers, LaidWithTheLeastStrainOnASphere) {
  constexpr double kR = 120, kDisc = 30;
  const geometry::Profile ball = testing_forms::superellipse(kR, kR, 2);
  const layout::PaperPose pose = layout::paper_pose(ball, Vector2d(50, 20), 0.3);
  const auto laid_at = [&](double s, double angle) {
    return layout::laid_on(ball, pose, kDisc * kDisc / 2, s * Vector2d(std::cos(angle), std::sin(angle)),
                           0.5);
  };
  const auto f = [&](double s) { return kR * std::acos(laid_at(s, 1).dot(pose.at) / (kR * kR)); };
  const Vector3d up = pose.at.normalized().cross(pose.across);
  for (const double angle : {0.0, 1.0, 2.5, -2.0}) {
    const Vector3d d = laid_at(25, angle) - pose.at;
    EXPECT_NEAR(std::remainder(std::atan2(d.dot(up), d.dot(pose.across)) - angle, 6.283185307179586), 0,
                2e-3);
  }
  std::vector<double> table;
  for (int k = 0; k <= 60; ++k) table.push_back(k == 0 ? 0.0 : f(0.5 * k));
  const auto strain = [&](double more, double bent) {
    double sum = 0;
    for (std::size_t k = 1; k + 1 < table.size(); ++k) {
      const double s = 0.5 * static_cast<double>(k);
      const double here = table[k] + more * s + bent * s * s * s;
      const double slope = (table[k + 1] - table[k - 1]) / 1.0 + more + 3 * bent * s * s;
      sum += s * (std::pow(slope - 1, 2) + std::pow(kR * std::sin(here / kR) / s - 1, 2));
    }
    return sum;
  };
  const double least = strain(0, 0);
  for (const double more : {-0.001, 0.001}) EXPECT_GT(strain(more, 0), least);
  for (const double bent : {-1e-6, 1e-6}) EXPECT_GT(strain(0, bent), least);
}

}  // namespace
}  // namespace interstice
