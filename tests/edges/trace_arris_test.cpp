// Edges to a small part of a pixel: exact pictures of a plate, and the noise law against the Cramer-Rao
// bound.
#include "edges/trace_arris.h"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <cmath>
#include <numbers>

#include "core/median.h"
#include "edges/outline_registration.h"
#include "edges/plate_scene.h"

namespace interstice {
namespace {

using namespace testing_plate;  // of this test alone
using Edges = Eigen::Vector4d;

constexpr double kMargin_mm = 3;  // from the corners, which blur rounds off
constexpr double kTracePixel_mm = 0.25;
// Halfway between light and code values, which lie 0.4 px apart at this contrast: a fifth, and what reading adds.
constexpr double kMostBias_px = 0.25;

geometry::PlaneFrame start_plane(const PlateScene& s) {  // 0.2 mm too high and tilted
  return geometry::make_plane_frame(s.plane.origin + 0.2 * s.plane.normal,
                                    s.plane.normal + 0.006 * s.plane.ex - 0.004 * s.plane.ey, s.plane.ex);
}

geometry::Polygon start_outline() {  // grown, shifted and turned a little
  geometry::Polygon p;
  for (const Vector2d& q : geometry::grown(geometry::resampled(plate_outline(), 0.75), 0.15))
    p.push_back(Eigen::Rotation2Dd(0.003) * q + Vector2d(0.1, -0.12));
  return p;
}

edges::TracedArris traced(const PlateScene& s, const geometry::PlaneFrame& face) {
  edges::ArrisPrior known;  // a sharp corner, and a face known only roughly
  known.face = {face};
  known.height_sd_mm = 0.7;
  known.tilt_sd = 0.02;
  known.corner.height_mm = known.corner.width_mm = 0;
  return edges::trace_arris(s.scan, s.pictures, {start_plane(s), start_outline()}, known,
                            {0.9, 0.6, 0.45, 0.35});
}
edges::TracedArris traced(const PlateScene& s) {
  return traced(s, start_plane(s));
}

// Mean distance of the traced outline outward of each true edge, in the plate's plane, mm; and of all points.
struct Errors {
  Edges mean = Edges::Zero();
  double rms = 0, rms_stated = 0, height_rms = 0;
};

Errors errors_of(const PlateScene& s, const edges::TracedArris& t) {
  Errors e;
  Edges n = Edges::Zero();
  double points = 0;
  for (std::size_t i = 0; i < t.outline.size(); ++i) {
    const Vector3d p = t.frame.lift(t.outline[i]);
    const Vector2d q = s.plane.drop(p);
    const int k = edge_of(q, kMargin_mm);
    if (k < 0) continue;
    e.mean[k] -= inward_mm(k, q);
    n[k] += 1;
    points += 1;
    e.rms += std::pow(inward_mm(k, q), 2);
    e.rms_stated += t.errors.sd_mm[i] * t.errors.sd_mm[i] + t.shared_error_mm[i] * t.shared_error_mm[i] / 3;
    e.height_rms += std::pow(s.plane.height(p), 2);
  }
  e.mean = e.mean.cwiseQuotient(n);
  for (double* x : {&e.rms, &e.rms_stated, &e.height_rms}) *x = std::sqrt(*x / points);
  return e;
}

// Whether a phone blurs light or code values is not known: edges are taken halfway between the steepest
// places of the two, so pictures blurred either way are off by as much to either side, and the uncertainty
// says it.
TEST(TraceArris, ExactPicturesGiveTheEdgesHalfwayBetweenLightAndCodeValues) {
  for (const bool bright : {true, false}) {
    double middle[2] = {}, stated[2] = {};
    for (const bool in_light : {false, true}) {
      PlateOptions options;
      options.in_light = in_light;
      if (!bright) std::swap(options.inside, options.outside);
      const PlateScene s = plate_scene(options);
      const edges::TracedArris t = traced(s);
      const Errors e = errors_of(s, t);
      middle[in_light] = e.mean.mean();
      stated[in_light] = e.rms_stated;
      const Edges apart = e.mean - Edges::Constant(e.mean.mean());
      EXPECT_LT(apart.cwiseAbs().maxCoeff(), 0.03 * kTracePixel_mm) << e.mean.transpose();
      EXPECT_LT(e.height_rms, 0.25 * kTracePixel_mm);
      EXPECT_GT(t.frame.normal.dot(s.plane.normal), std::cos(0.003));
      EXPECT_GT(geometry::signed_area(t.outline), 0);
      EXPECT_EQ(t.errors.sd_mm.size(), t.outline.size());
      for (std::size_t i = 0; i < t.outline.size(); ++i) {  // all of it was seen, but for the rounded corners
        EXPECT_TRUE(t.errors.sd_mm[i] > 0 || edge_of(t.outline[i], 1) < 0) << i;
      }
    }
    EXPECT_NEAR(middle[0] + middle[1], 0, 0.06 * kTracePixel_mm) << middle[0] << ' ' << middle[1];
    EXPECT_GT(std::abs(middle[0] - middle[1]), 0.1 * kTracePixel_mm) << "light and code values differ";
    for (const int k : {0, 1}) {
      EXPECT_LT(std::abs(middle[k]), 2 * stated[k]);
      // Whichever is true: a bound of its own, whatever is stated.
      EXPECT_LT(std::abs(middle[k]), kMostBias_px * kTracePixel_mm) << k;
    }
  }
}

// Light alone tells nothing where wood and what lies behind it are equally light; colour does.
TEST(TraceArris, ColourTellsWhereLightDoesNot) {
  PlateOptions options;
  options.colour_only = true;
  options.inside = 150;
  const PlateScene s = plate_scene(options);
  const edges::TracedArris t = traced(s);
  const Errors e = errors_of(s, t);
  EXPECT_LT(e.mean.cwiseAbs().maxCoeff(), 0.1 * kTracePixel_mm) << e.mean.transpose();
  EXPECT_LT(e.rms, 0.2 * kTracePixel_mm);
}

// Without any step nothing is seen, and the outline says so.
TEST(TraceArris, NoEdgeIsUnseen) {
  PlateOptions options;
  options.inside = options.outside;
  const PlateScene s = plate_scene(options);
  const edges::TracedArris t = traced(s);
  int unseen = 0;
  for (const double sd : t.errors.sd_mm) unseen += sd < 0 ? 1 : 0;
  EXPECT_GT(unseen, 0.95 * double(t.errors.sd_mm.size()));
}

// The Cramer-Rao bound of the edges' mean places, mm. An edge of height A, blurred by sigma_b px, in white
// noise sigma_n, read over L px: sigma_x >= (sigma_n / A) sqrt(2 sqrt(pi) sigma_b / L) px (derived from the
// Fisher information of a Gaussian-blurred step). All views of all edges and the unknown plane (height, two
// tilts) enter one information matrix.
Edges bound_mm(const PlateScene& s, const PlateOptions& options, double steepest) {
  Eigen::Matrix<double, 7, 7> information = Eigen::Matrix<double, 7, 7>::Zero();
  const geometry::Polygon outline = geometry::resampled(plate_outline(), 0.75);
  const Vector2d outward[4] = {{0, -1}, {1, 0}, {0, 1}, {-1, 0}};
  const double stretch = geometry::perimeter(plate_outline()) / double(outline.size());
  for (const Vector2d& p : outline) {
    const int k = edge_of(p, 0);
    if (k < 0) continue;
    for (const edges::OutlineView& v :
         edges::views_of_point(s.scan, s.pictures, s.plane, p, outward[k], 0.3)) {
      if (v.slope > steepest) continue;
      // Squeezed by perspective, the edge's normal in the picture is not the picture of its normal.
      const Vector2d tangent = v.per_mm_tangent.normalized();
      const double across = std::abs(tangent.x() * v.per_mm_normal.y() - tangent.y() * v.per_mm_normal.x());
      const double length_px = stretch * v.per_mm_tangent.norm();
      const double sd = options.noise / std::abs(options.inside - options.outside) *
                        std::sqrt(2 * std::sqrt(std::numbers::pi) * options.blur_px / length_px) / across;
      Eigen::Matrix<double, 7, 1> row = Eigen::Matrix<double, 7, 1>::Zero();
      row[k] = 1;
      row.tail<3>() = -v.slope * Vector3d(1, p.x(), p.y());
      information += row * row.transpose() / (sd * sd);
    }
  }
  return information.inverse().diagonal().head<4>().cwiseSqrt();
}

TEST(TraceArris, NoiseLaw) {
  PlateOptions options;
  options.noise = 5;  // A / sigma_n = 20
  constexpr int kRuns = 16;
  std::vector<Edges> means;
  double rms = 0, stated = 0;
  for (unsigned run = 0; run < kRuns; ++run) {
    options.seed = 10 + run;
    const PlateScene s = plate_scene(options);
    const Errors e = errors_of(s, traced(s, s.plane));
    means.push_back(e.mean);
    rms += e.rms * e.rms / kRuns;
    stated += e.rms_stated * e.rms_stated / kRuns;
  }
  // No estimator beats the bound of all views.
  const PlateScene scene = plate_scene(options);
  const Edges bound = bound_mm(scene, options, 2.5);
  Edges mean = Edges::Zero();
  for (const Edges& m : means) mean += m / kRuns;
  double spread = 0;  // in units of the bound, over edges and runs
  for (const Edges& m : means) spread += (m - mean).cwiseQuotient(bound).squaredNorm() / (4 * (kRuns - 1));
  // Sixty degrees of freedom: the spread itself is known to 9 %.
  EXPECT_GT(std::sqrt(spread), 0.85) << "better than the noise allows";
  EXPECT_LT(std::sqrt(spread), 2.5);  // a filter of 0.8 px and a floor for rough edges
  // No bias by noise: what is left is the same on all edges, halfway between light and code values.
  const Edges apart = mean - Edges::Constant(mean.mean());
  EXPECT_LT(apart.cwiseAbs().maxCoeff(), 0.05 * kTracePixel_mm);
  EXPECT_LT(mean.cwiseAbs().maxCoeff(), kMostBias_px * kTracePixel_mm) << mean.transpose();
  options.noise = 0;
  const PlateScene exact = plate_scene(options);
  EXPECT_NEAR(mean.mean(), errors_of(exact, traced(exact, exact.plane)).mean.mean(), 0.05 * kTracePixel_mm);
  // What is stated of single points is of the size of what they do.
  EXPECT_LT(std::sqrt(rms / stated), 2);
  EXPECT_GT(std::sqrt(rms / stated), 0.3);
}

// Few photos: the outline follows their noise and leaves small residuals, here a fifth of the variance many
// photos show. Degrees of freedom bring back a part of it (the residuals' autocorrelation is lost with them).
TEST(TraceArris, FewPhotosLookLessSureByTheDegreesOfFreedom) {
  double scale[2] = {};
  for (unsigned run = 0; run < 4; ++run) {
    PlateOptions options;
    options.noise = 12;  // well above what the edges' floor allows for
    options.seed = 40 + run;
    for (const int few : {0, 1}) {
      options.cameras = few ? 4 : 20;
      scale[few] += traced(plate_scene(options)).noise_scale / 4;
    }
  }
  EXPECT_GT(scale[1] / scale[0], 0.28);
  EXPECT_LT(scale[1] / scale[0], 1.5);
}

// A corner brighter than the face and than what lies beyond: seen onto the wall, its fall is the arris,
// though its rise is the stronger step.
TEST(TraceArris, TheFallBeyondABrightStripIsTheArris) {
  PlateOptions options;
  options.inside = 70;
  options.outside = 100;
  options.strip = 160;
  options.strip_px = 2.5;
  const PlateScene s = plate_scene(options);
  edges::BrokenCorner corner;
  corner.height_mm = 0;
  corner.width_mm = options.strip_px * kTracePixel_mm;
  const geometry::Polygon outline = geometry::resampled(plate_outline(), 0.75);
  std::vector<double> off;
  for (const edges::ArrisObservation& o :
       edges::observe_edges(s.scan, s.pictures, edges::ArrisLine(s.plane, outline, corner), 1.0, {})) {
    if (o.slope > 0 && edge_of(outline[o.point], kMargin_mm) >= 0) off.push_back(o.offset_mm);
  }
  ASSERT_GT(off.size(), 100);
  EXPECT_NEAR(core::median(off), 0, 0.4 * kTracePixel_mm);
  for (const double x : off) EXPECT_NEAR(x, 0, 0.6 * kTracePixel_mm);
}

TEST(TraceArris, PublishedValuesOfTheBound) {
  // Table of the same formula (A / sigma_n, sigma_b, L): edge sigma in px.
  const double table[][4] = {
      {20, 0.8, 1, 0.08420}, {50, 0.8, 1, 0.03368}, {50, 0.8, 20, 0.00753}, {20, 1.5, 20, 0.02578}};
  for (const auto& [snr, blur, length, sigma] : table)
    EXPECT_NEAR(std::sqrt(2 * std::sqrt(std::numbers::pi) * blur / length) / snr, sigma, 6e-6);
}

// A square 10 mm above the plane z = 0, seen from straight above and from the side.
TEST(Occluders, HideWhatTheLineToTheCameraCrosses) {
  const geometry::PlaneFrame face =
      geometry::make_plane_frame({0, 0, 10}, Vector3d::UnitZ(), Vector3d::UnitX());
  edges::Occluders pieces;
  pieces.add_none();
  pieces.add(face, {{-5, -5}, {5, -5}, {5, 5}, {-5, 5}}, 0.5);
  const Vector3d above(0, 0, 300), aside(300, 0, 10 + 300);
  EXPECT_TRUE(pieces.hidden({0, 0, 0}, above, 0, 0.2));
  EXPECT_FALSE(pieces.hidden({0, 0, 0}, above, 1, 0.2)) << "a piece does not hide itself";
  EXPECT_FALSE(pieces.hidden({8, 0, 0}, above, 0, 0.2));
  EXPECT_TRUE(pieces.hidden({5.2, 0, 0}, above, 0, 0.2)) << "margin";
  EXPECT_FALSE(pieces.hidden({0, 0, 9.9}, above, 0, 0.2)) << "level with the face";
  EXPECT_FALSE(pieces.hidden({0, 0, 12}, above, 0, 0.2)) << "above the face";
  // From a slope of 45 degrees the line from (x, 0, 0) leaves at (x + 10, 0, 10).
  EXPECT_TRUE(pieces.hidden({-14, 0, 0}, Vector3d(-14, 0, 0) + Vector3d(300, 0, 300), 0, 0.2));
  EXPECT_FALSE(pieces.hidden({-3, 0, 0}, Vector3d(-3, 0, 0) + Vector3d(300, 0, 300), 0, 0.2));
  EXPECT_FALSE(pieces.hidden({0, 0, 0}, {0, 0, 5}, 0, 0.2)) << "a camera below the face";
  EXPECT_TRUE(pieces.hidden({-10, 0, 0}, aside, 0, 0.2));
}

TEST(PlaceOutline, FindsAPieceThatLiesOff) {
  for (const bool bright : {true, false}) {
    PlateOptions options;
    options.noise = 2;
    if (!bright) std::swap(options.inside, options.outside);
    const PlateScene s = plate_scene(options);
    for (const auto& [shift, turn, growth] :
         {std::tuple(Vector2d(2.4, -1.3), 0.05, 0.5), std::tuple(Vector2d(-1.0, 3.0), -0.03, -0.3)}) {
      // The plan lies where the piece would be without the shift: the piece is the plan moved by it.
      geometry::Polygon planned;
      for (const Vector2d& p : geometry::grown(geometry::resampled(plate_outline(), 0.5), -growth))
        planned.push_back(Eigen::Rotation2Dd(-turn) * Vector2d(p - shift));
      const edges::PlacedOutline placed = edges::place_outline(s.scan, s.pictures, s.plane, planned, {});
      double rms = 0, n = 0;
      for (const Vector2d& p : placed.outline) {
        const int k = edge_of(p, kMargin_mm);
        if (k < 0) continue;
        rms += std::pow(inward_mm(k, p), 2);
        n += 1;
      }
      EXPECT_LT(std::sqrt(rms / n), 0.3) << bright << shift.transpose();
      EXPECT_NEAR(placed.turn, turn, 0.02);
      EXPECT_LT((geometry::centroid(placed.outline)).norm(), 0.25);
      EXPECT_GT(placed.support, placed.background);
      for (std::size_t i = 0; i < placed.outline.size(); ++i) {
        const double step = (placed.outline[(i + 1) % placed.outline.size()] - placed.outline[i]).norm();
        EXPECT_LT(step, 2.5);
      }
    }
  }
}

}  // namespace
}  // namespace interstice
