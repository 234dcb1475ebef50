// Tracing a drawn form: a picture of the map drawn by the test, with lines it knows. Drawn forms seen by a
// camera are tested with the real program in tests/app.
#include "layout/trace.h"

#include <gtest/gtest.h>

#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/errors.h"
#include "layout/forms.h"
#include "layout/independent_faces.h"
#include "layout/outline_distance.h"
#include "layout/plan_check.h"
#include "sheets/patterns.h"

namespace interstice {
namespace {

using Eigen::Vector2d;
constexpr double kStep_mm = 0.25;

const geometry::Profile& form() {
  static const geometry::Profile bowl = testing_forms::superellipse(110, 80, 2);
  return bowl;
}

// The drawing: one piece in the middle, six round it, twelve, and twelve on the rim, set like bricks. Lines
// are given on the map, wavy so that no straight fit would do.
struct Drawn {
  geometry::OrthoPicture picture;
  std::vector<geometry::Polygon> cells;  // 1 + 6 + 12 + 12, by their lines' middles
};

Vector2d polar(double rho, double theta) {
  return rho * Vector2d(std::cos(theta), std::sin(theta));
}

double inner_rho(double theta) {
  return 22 + 1.0 * std::sin(3 * theta);
}
double middle_rho(double theta) {
  return 62 + 1.5 * std::sin(5 * theta + 1);
}
double outer_rho(double theta) {
  return 104 + 1.5 * std::sin(7 * theta + 2);
}
double spoke(double start, double share) {
  return start + 0.02 * std::sin(2 * std::numbers::pi * share);
}

// The cell between two rings' lines and two spokes, counter-clockwise.
geometry::Polygon cell_between(double (*low)(double), double (*high)(double), double from, double to) {
  geometry::Polygon cell;
  constexpr int kN = 60;
  const auto rho_at = [&](double theta, double share) {
    return low(theta) + share * (high(theta) - low(theta));
  };
  for (int k = 0; k < kN; ++k)
    cell.push_back(polar(low(to + (from - to) * k / kN), to + (from - to) * k / kN));
  for (int k = 0; k < kN; ++k) {
    const double share = static_cast<double>(k) / kN, theta = spoke(from, share);
    cell.push_back(polar(rho_at(theta, share), theta));
  }
  for (int k = 0; k < kN; ++k)
    cell.push_back(polar(high(from + (to - from) * k / kN), from + (to - from) * k / kN));
  for (int k = 0; k < kN; ++k) {
    const double share = 1 - static_cast<double>(k) / kN, theta = spoke(to, share);
    cell.push_back(polar(rho_at(theta, share), theta));
  }
  if (geometry::signed_area(cell) < 0) std::reverse(cell.begin(), cell.end());
  return cell;
}

double rim_rho(double) {
  return form().length();
}

Drawn draw_shared() {
  Drawn d;
  geometry::Polygon middle;
  for (int k = 0; k < 360; ++k)
    middle.push_back(polar(inner_rho(k * std::numbers::pi / 180), k * std::numbers::pi / 180));
  d.cells.push_back(middle);
  const auto add_ring = [&](double (*low)(double), double (*high)(double), int count, double start) {
    for (int k = 0; k < count; ++k) {
      const double turn = 2 * std::numbers::pi / count;
      d.cells.push_back(cell_between(low, high, start + k * turn, start + (k + 1) * turn));
    }
  };
  add_ring(inner_rho, middle_rho, 6, 0.2);
  add_ring(middle_rho, outer_rho, 12, 0.2 + std::numbers::pi / 12);
  add_ring(outer_rho, rim_rho, 12, 0.2);
  const double reach = form().length() + 6;
  const int half = static_cast<int>(std::ceil(reach / kStep_mm));
  geometry::OrthoPicture& p = d.picture;
  p.mm_per_px = kStep_mm, p.cx = p.cy = half;
  p.bgr.create(2 * half + 1, 2 * half + 1, CV_8UC3);
  cv::RNG noise(7);
  for (int y = 0; y < p.bgr.rows; ++y) {
    for (int x = 0; x < p.bgr.cols; ++x) {  // uneven light, a little noise
      const double light = 190 + 30.0 * x / p.bgr.cols - 25.0 * y / p.bgr.rows + noise.gaussian(3);
      for (int c = 0; c < 3; ++c) p.bgr.at<cv::Vec3b>(y, x)[c] = cv::saturate_cast<uchar>(light - 8 * c);
    }
  }
  constexpr int kShift = 4;
  for (const geometry::Polygon& cell : d.cells) {
    std::vector<cv::Point> line;
    for (const Vector2d& uv : cell) {
      const Vector2d px = p.pixel_at(uv);
      line.emplace_back(cvRound(px.x() * (1 << kShift)), cvRound(px.y() * (1 << kShift)));
    }
    cv::polylines(p.bgr, line, true, cv::Scalar(70, 72, 75), 3, cv::LINE_AA, kShift);
  }
  return d;
}

layout::TraceOptions shared_options() {
  layout::TraceOptions options;
  options.name = "sketch";
  options.gap_mm = 4;
  options.tile_thickness_mm = 10;
  return options;
}

const layout::TraceResult& traced() {
  static const layout::TraceResult result =
      layout::trace_layout(draw_shared().picture, form(), shared_options());
  return result;
}

TEST(Trace, EveryDrawnCellBecomesAPieceWithALabelByRing) {
  const plan::Plan& plan = traced().plan;
  EXPECT_TRUE(traced().shared_lines);
  EXPECT_TRUE(traced().left_out.empty()) << traced().left_out.front();
  EXPECT_TRUE(traced().look_again.empty()) << traced().look_again.front();
  ASSERT_EQ(plan.tiles.size(), 31u);
  int rings[5] = {0, 0, 0, 0, 0};
  std::string last;
  for (const plan::PlannedTile& tile : plan.tiles) {
    ASSERT_LE(tile.ring, 4);
    ++rings[tile.ring];
    EXPECT_EQ(tile.label[0], "ABCD"[tile.ring - 1]);
    EXPECT_LT(last, tile.label);
    last = tile.label;
  }
  EXPECT_EQ(rings[1], 12);
  EXPECT_EQ(rings[2], 12);
  EXPECT_EQ(rings[3], 6);
  EXPECT_EQ(rings[4], 1);
}

// One pencil line becomes two outlines with the gap between them in 3-D, on either side of the
// drawn line. Flat pieces may stand across it in a corner, by less than half the gap.
TEST(Trace, SharedLinesBecomeTwoOutlinesWithTheGapBetween) {
  const plan::Plan& plan = traced().plan;
  const Drawn drawn = draw_shared();
  const auto mouths = independent::mouths_of(independent::solids_of(plan));
  std::size_t seams = 0;
  for (const auto& m : mouths) {
    if (!independent::is_seam(m)) continue;
    ++seams;
    EXPECT_NEAR(m.narrowest_mm, 4.0, 0.1) << m.a << "-" << m.b << " over " << m.length_mm;
  }
  // Spokes, then the seams along each ring's line.
  EXPECT_EQ(seams, 12u + 12u + 6u + 24u + 18u + 6u);
  for (const plan::PlannedTile& tile : plan.tiles) {
    const auto cell = std::find_if(drawn.cells.begin(), drawn.cells.end(), [&](const geometry::Polygon& c) {
      return geometry::contains(c, geometry::centroid(tile.outline));
    });
    ASSERT_NE(cell, drawn.cells.end()) << tile.label;
    std::size_t outside = 0;
    for (const Vector2d& p : tile.outline) {
      if (geometry::contains(*cell, p) || testing_layout::distance_to_outline(*cell, p) < 0.3) continue;
      ++outside;
      EXPECT_LT(testing_layout::distance_to_outline(*cell, p), 2) << tile.label;
    }
    EXPECT_LT(outside, tile.outline.size() / 5) << tile.label;
  }
}

TEST(Trace, OwnLinesAreTakenAsTheyAreDrawn) {
  Drawn drawn = draw_shared();
  // Each piece its own line: 2.5 mm inside the shared one (the middle of a new pen line).
  Drawn own;
  own.picture = drawn.picture;
  own.picture.bgr = cv::Mat(drawn.picture.bgr.size(), CV_8UC3, cv::Scalar(180, 185, 190));
  for (const geometry::Polygon& cell : drawn.cells) {
    const Vector2d c = geometry::centroid(cell);
    geometry::Polygon inner;
    for (const Vector2d& p : geometry::resampled(cell, 1.0)) inner.push_back(c + (p - c) * 0.86);
    own.cells.push_back(inner);
    std::vector<cv::Point> line;
    for (const Vector2d& uv : inner) {
      const Vector2d px = own.picture.pixel_at(uv);
      line.emplace_back(cvRound(px.x() * 16), cvRound(px.y() * 16));
    }
    cv::polylines(own.picture.bgr, line, true, cv::Scalar(60, 60, 60), 3, cv::LINE_AA, 4);
  }
  const layout::TraceResult result = layout::trace_layout(own.picture, form(), shared_options());
  EXPECT_FALSE(result.shared_lines);
  ASSERT_EQ(result.plan.tiles.size(), 31u);
  // The lowest lines stand clear of the rim: rings come from the layout itself.
  std::map<int, int> rings;
  for (const plan::PlannedTile& tile : result.plan.tiles) ++rings[tile.ring];
  EXPECT_EQ(rings, (std::map<int, int>{{1, 12}, {2, 12}, {3, 6}, {4, 1}}));
  double sum = 0;
  std::size_t points = 0;
  for (const plan::PlannedTile& tile : result.plan.tiles) {
    const Vector2d c = geometry::centroid(tile.outline);
    const auto nearest = std::min_element(
        own.cells.begin(), own.cells.end(), [&](const geometry::Polygon& a, const geometry::Polygon& b) {
          return (geometry::centroid(a) - c).norm() < (geometry::centroid(b) - c).norm();
        });
    for (const Vector2d& p : tile.outline)
      sum += std::pow(testing_layout::distance_to_outline(*nearest, p), 2), ++points;
  }
  // A picture element is 0.25 mm: lines are found to a fraction of it.
  EXPECT_LT(std::sqrt(sum / static_cast<double>(points)), 0.12);
}

TEST(Trace, ATracedPlanGoesThroughCheckAndPatterns) {
  const plan::Plan again = plan::parse_plan(plan::write_plan(traced().plan), "sketch.json");
  const auto bodies = solid::planned_bodies(again);
  const auto pieces = solid::piece_geometries(again, bodies);
  const layout::PlanCheck check = layout::check_plan(again, bodies, pieces, {});
  EXPECT_EQ(std::count_if(
                check.findings.begin(), check.findings.end(),
                [](const layout::CheckFinding& f) { return f.kind == layout::CheckFinding::Kind::overlap; }),
            0);
  EXPECT_NEAR(check.narrowest_mouth_mm, 4.0, 0.1);
  const sheets::Patterns patterns = sheets::make_patterns(again, bodies, pieces, {});
  EXPECT_EQ(patterns.nesting.placements.size(), 31u);
}

TEST(Trace, LabelsAreRenamedAndMistakesInTheFileAreNamed) {
  plan::Plan plan = traced().plan;
  layout::rename_tiles(plan, "# proposed, wanted\nA01, K7\n\nA02,A01\n", "labels.csv");
  EXPECT_EQ(plan.tiles[geometry::TileIndex(0)].label, "K7");
  EXPECT_EQ(plan.tiles[geometry::TileIndex(1)].label, "A01");
  const auto message = [&](const std::string& text) {
    plan::Plan copy = traced().plan;
    try {
      layout::rename_tiles(copy, text, "labels.csv");
    } catch (const core::InputError& e) {
      return std::string(e.what());
    }
    return std::string("nothing thrown");
  };
  EXPECT_NE(message("A01\n").find("labels.csv: line 1: needs two labels"), std::string::npos);
  EXPECT_NE(message("\nZ99,A\n").find("line 2: no piece is labelled \"Z99\""), std::string::npos);
  EXPECT_NE(message("A01,X\nA01,Y\n").find("line 2: the label \"A01\" stands twice"), std::string::npos);
  EXPECT_NE(message("A01,A02\n").find("two pieces would be labelled \"A02\""), std::string::npos);
  EXPECT_NE(message("A01," + std::string(60, 'x')).find("1 to 40 characters"), std::string::npos);
}

TEST(Trace, ABareOrUnseenFormIsRefused) {
  Drawn drawn = draw_shared();
  geometry::OrthoPicture bare = drawn.picture;
  bare.bgr = cv::Mat(bare.bgr.size(), CV_8UC3, cv::Scalar(180, 185, 190));
  EXPECT_THROW(layout::trace_layout(bare, form(), shared_options()), core::MeasureError);
  geometry::OrthoPicture unseen = drawn.picture;
  unseen.confidence = cv::Mat(unseen.bgr.size(), CV_8U, cv::Scalar(0));
  EXPECT_THROW(layout::trace_layout(unseen, form(), shared_options()), core::MeasureError);
}

void draw_on(Drawn& drawn, const std::vector<Vector2d>& line, const cv::Scalar& colour, int width_px) {
  std::vector<cv::Point> points;
  for (const Vector2d& uv : line) {
    const Vector2d px = drawn.picture.pixel_at(uv);
    points.emplace_back(cvRound(px.x() * 16), cvRound(px.y() * 16));
  }
  cv::polylines(drawn.picture.bgr, points, false, colour, width_px, cv::LINE_AA, 4);
}

// A label of 6 mm in the middle of a cell, and a crease of the paper that runs into it from the outline: no line.
TEST(Trace, ACreaseThatJoinsALabelToTheOutlineIsNoLine) {
  Drawn drawn = draw_shared();
  const double theta = 0.2 + std::numbers::pi / 6;
  const Vector2d label = polar(42, theta), out = polar(1, theta), across(-out.y(), out.x());
  draw_on(drawn, {polar(62, theta), label + 3 * out}, cv::Scalar(172, 175, 179), 2);
  draw_on(drawn,
          {label - 3 * out, label + 3 * out, label + 2 * out + 3 * across, label - 2 * out + 3 * across,
           label - 3 * out},
          cv::Scalar(70, 72, 75), 3);
  const layout::TraceResult result = layout::trace_layout(drawn.picture, form(), shared_options());
  EXPECT_EQ(result.plan.tiles.size(), 31u);
  EXPECT_TRUE(result.look_again.empty()) << result.look_again.front();
}

// The same stroke as dark as the outline, 12 mm long: somebody began to draw a line there.
TEST(Trace, ALineBegunFromTheOutlineIsNamed) {
  Drawn drawn = draw_shared();
  const double theta = 0.2 + std::numbers::pi / 6;
  draw_on(drawn, {polar(62, theta), polar(50, theta)}, cv::Scalar(70, 72, 75), 3);
  const layout::TraceResult result = layout::trace_layout(drawn.picture, form(), shared_options());
  ASSERT_EQ(result.look_again.size(), 1u);
  EXPECT_NE(result.look_again.front().find("a line ends inside it"), std::string::npos);
}

// A line rubbed out over 15 mm joins two cells: the maker must be told, not given one large piece in silence.
TEST(Trace, ABreakInALineIsNamedOrBridged) {
  Drawn drawn = draw_shared();
  const Vector2d px = drawn.picture.pixel_at(polar(42, 0.2 + std::numbers::pi / 3));
  cv::circle(drawn.picture.bgr, {cvRound(px.x()), cvRound(px.y())}, static_cast<int>(3 / kStep_mm),
             cv::Scalar(180, 185, 190), cv::FILLED);
  const layout::TraceResult result = layout::trace_layout(drawn.picture, form(), shared_options());
  if (result.plan.tiles.size() == 31) {
    EXPECT_EQ(result.look_again.size(), 2u);
  } else {
    EXPECT_FALSE(result.left_out.empty() && result.look_again.empty());
  }
}

}  // namespace
}  // namespace interstice
