// Rim and arris of a broken corner told apart: exact pictures of a plate whose corner is a strip of its own
// brightness.
#include "edges/find_corner.h"

#include <gtest/gtest.h>

#include <cmath>

#include "core/median.h"
#include "edges/plate_scene.h"

namespace interstice {
namespace {

using namespace testing_plate;  // of this test alone

constexpr double kFromEnds_mm = 4;  // from the corners, which the path cuts
constexpr double kCornerPixel_mm = 0.25;

PlateOptions broken_plate(double height_mm, double width_mm, double strip) {
  PlateOptions options;
  options.inside = 180;
  options.strip = strip;
  options.outside = 60;
  options.corner_height_mm = height_mm;
  options.corner_width_mm = width_mm;
  options.noise = 1;
  return options;
}

// Median place outward of the true outline, and height, along the four edges.
struct FoundEdges {
  double place_mm = 0, height_mm = 0;
};

FoundEdges found_edges(const PlateOptions& options, double start_off_mm) {
  const PlateScene s = plate_scene(options);
  geometry::PlaneFrame face = s.plane;
  face.origin += options.corner_height_mm * face.normal;
  const edges::ArrisLine line(face, geometry::grown(geometry::resampled(plate_outline(), 0.75), start_off_mm),
                              {});
  const edges::FoundCorner corner = edges::find_corner(s.scan, s.pictures, line, 1.0, {});
  std::vector<double> places, heights;
  for (std::size_t i = 0; i < corner.outline.size(); ++i) {
    const int k = edge_of(corner.outline[i], kFromEnds_mm);
    if (k < 0) continue;
    places.push_back(-inward_mm(k, corner.outline[i]));
    heights.push_back(corner.height[i]);
  }
  return {core::median(std::move(places)), core::median(std::move(heights))};
}

// A strip of middle brightness, at 45 degrees, flat and steep, three pixels wide; begun on the rim or beyond the
// arris.
TEST(FindCorner, TheOuterLineIsTheArrisHoweverTheCornerIsSanded) {
  for (const auto& [height, width] : {std::pair(0.8, 0.8), std::pair(0.8, 1.1), std::pair(1.0, 0.6)}) {
    for (const auto& [strip, start] : {std::pair(120.0, -0.5), std::pair(140.0, 0.3)}) {
      const FoundEdges f = found_edges(broken_plate(height, width, strip), start);
      EXPECT_NEAR(f.place_mm, 0, 0.4 * kCornerPixel_mm) << height << ' ' << width << ' ' << strip;
      // Half a pixel under slopes up to 0.7, from either side.
      EXPECT_NEAR(f.height_mm, height, 1.1 * kCornerPixel_mm) << height << ' ' << width << ' ' << strip;
    }
  }
}

// No second line: the one there is.
TEST(FindCorner, ASharpCornerIsNotGivenARim) {
  PlateOptions options;
  options.noise = 1;
  const FoundEdges f = found_edges(options, 0.3);
  EXPECT_NEAR(f.place_mm, 0, 0.4 * kCornerPixel_mm);
  EXPECT_LT(f.height_mm, 0.15);
}

// Placed outlines may follow something else over a millimetre off.
TEST(FindCorner, IsFoundFromOverAMillimetreOff) {
  for (const double start_mm : {-1.3, 1.3}) {
    const FoundEdges f = found_edges(broken_plate(0.8, 0.8, 120), start_mm);
    EXPECT_NEAR(f.place_mm, 0, 0.4 * kCornerPixel_mm) << start_mm;
  }
}

// Root mean square of what is stated of the doubt, and of how far off the outline is, along the four edges.
struct Doubt {
  double stated_mm = 0, true_mm = 0;
};

Doubt doubt_of(double inside, double outside, double noise) {
  PlateOptions options;
  options.inside = inside;
  options.outside = outside;
  options.noise = noise;
  const PlateScene s = plate_scene(options);
  const edges::ArrisLine line(s.plane, geometry::grown(geometry::resampled(plate_outline(), 0.75), 0.6), {});
  const edges::FoundCorner corner = edges::find_corner(s.scan, s.pictures, line, 1.0, {});
  Doubt out;
  double points = 0;
  for (std::size_t i = 0; i < corner.outline.size(); ++i) {
    const int k = edge_of(corner.outline[i], kFromEnds_mm);
    if (k < 0) continue;
    out.stated_mm += std::pow(corner.doubt_mm[i], 2);
    out.true_mm += std::pow(inward_mm(k, corner.outline[i]), 2);
    points += 1;
  }
  return {std::sqrt(out.stated_mm / points), std::sqrt(out.true_mm / points)};
}

// Noise does not outvote an edge several times its size, and of such an edge there is no doubt; where the edge
// drowns, what is stated is of the size of the error.
TEST(FindCorner, AnEdgeIsDoubtedWhereItDrownsInNoise) {
  const Doubt clear = doubt_of(110, 60, 8);
  EXPECT_LT(clear.true_mm, 0.4 * kCornerPixel_mm);
  EXPECT_LT(clear.stated_mm, 0.02);
  const Doubt drowned = doubt_of(64, 60, 12);
  EXPECT_GT(drowned.stated_mm, 0.2);
  EXPECT_LT(drowned.true_mm, 3 * drowned.stated_mm);
}

// Where the arris is looked for, the rim of a wide corner is no reading, be it the stronger step, and what is read
// square onto the edge and onto the wall is the arris.
TEST(FindCorner, ReadingsAreOfTheArris) {
  const PlateOptions options = broken_plate(0.7, 0.7, 100);
  const PlateScene s = plate_scene(options);
  edges::BrokenCorner corner;
  corner.height_mm = corner.width_mm = 0.7;
  const edges::ArrisLine line(s.plane, geometry::resampled(plate_outline(), 0.75), corner);
  std::vector<double> square, wall;
  for (const edges::ArrisObservation& o : edges::observe_edges(s.scan, s.pictures, line, 1.2, {})) {
    if (edge_of(line.outline[o.point], kFromEnds_mm) < 0 || o.slope < -0.1) continue;
    (o.slope > 0.2 ? wall : square).push_back(o.offset_mm);
  }
  for (std::vector<double>* read : {&square, &wall}) {
    ASSERT_GT(read->size(), 40);
    double far = 0;
    for (const double x : *read) far += std::abs(x) > 0.6 * kCornerPixel_mm ? 1 : 0;
    EXPECT_LT(far, 0.05 * double(read->size()));
    EXPECT_NEAR(core::median(*read), 0, 0.35 * kCornerPixel_mm);
  }
}

}  // namespace
}  // namespace interstice
