// Edges along an outline, as single photos show them.
//
// Every photo is read across every point of the outline (edges/edge_profiles.h); it shows an edge as a step of
// light or of colour, falling or rising outward. One photo shows the same kind of step over a few millimetres
// of edge, so neighbouring points vote for it.
//
// Place of a step. A lens blurs light; the code values of a picture are a curved function of light (IEC
// 61966-2-1), and phones sharpen and smooth the code values. The steepest place of light and that of code
// values lie up to half a pixel apart, and how much of the blur belongs to either is not known: the edge is
// taken halfway, and half the difference enters its uncertainty.
//
// Rim and arris. A step nearer to where the rim of a broken corner (edges/broken_corner.h) should be seen than to
// the arris is the rim's and no reading; then views of every slope show the arris without bias.
//
// Shade of the broken corner. A strip of width s darker than the face by a share k of its light draws the edge
// towards itself: by k * `shade_mm`, where shade_mm is s times the face's light over the step of light, and
// exp(-s^2 / 2 b^2) of that where the picture's blur b resolves it (the steepest place of two blurred steps
// to first order in the smaller). k is an unknown of the fit in edges/trace_arris.h.
//
// Bright strip. Light from above makes the strip brighter than face and wall: then the step rises at its
// upper end and falls at the arris. In views onto the wall a rise with a fall a strip's width outward of it
// is not the arris; the fall is.
#pragma once

#include <array>
#include <vector>

#include "edges/broken_corner.h"
#include "edges/edge_profiles.h"

namespace interstice::edges {

struct ArrisObservation {
  std::size_t point;
  geometry::PhotoIndex photo;
  double slope, offset_mm, contrast, sd_mm;
  double strip_mm = 0;          // how much of the broken corner's strip draws the edge
  double corner_sd_mm = 0;      // by where on the corner the edge is seen
  double shade_mm = 0;          // derivative of the offset by the corner's darkness
  double light_or_code_mm = 0;  // half the difference between places by light and by code values
  double pixel_mm = 0;          // of the photo, across the edge
  double weight = 1;            // robust weight after the fit
  double residual_mm = 0;       // of the offset, about the fit
  bool looks_up = false;        // the wall below the point (edges/broken_corner.h)
};

// What a photo's contrasts are where it shows no edge (robust standard deviation, grey levels), by channel of a
// colour profile, and for all photos; none: not known.
using ChannelNoise = std::array<double, 3>;
using ContrastNoise = geometry::IndexedVector<geometry::PhotoIndex, ChannelNoise>;

// Where an arris is taken to lie: an outline in a plane, each of its points z_mm above it, and how the corner
// above it is broken there.
struct ArrisLine {
  geometry::PlaneFrame frame;
  geometry::Polygon outline;
  std::vector<Eigen::Vector2d> normals;  // outward, in the plane
  std::vector<double> z_mm;
  std::vector<BrokenCorner> corners;
  ContrastNoise contrast_noise;

  // A flat arris, its corner the same all round.
  ArrisLine(const geometry::PlaneFrame& plane, const geometry::Polygon& points, const BrokenCorner& corner)
      : frame(plane),
        outline(points),
        normals(geometry::outward_normals(points)),
        z_mm(points.size(), 0.0),
        corners(points.size(), corner) {}

  // The plane through one of its points.
  geometry::PlaneFrame plane_at(std::size_t point) const {
    geometry::PlaneFrame out = frame;
    out.origin += z_mm[point] * frame.normal;
    return out;
  }
};

// All steps of light and colour that one photo shows across one point of an arris.
struct SeenSteps {
  struct Step {
    double offset_mm, contrast;
    std::size_t channel;  // edges/edge_profiles.h
    bool brighter;        // of light: outward
  };
  std::size_t point;
  OutlineView view;
  std::vector<Step> steps;
};
// How much a channel's contrast counts against light's.
double trusted(std::size_t channel);

struct AllSteps {
  std::vector<SeenSteps> seen;
  ContrastNoise noise;
};
AllSteps all_steps(const scan::Scan& scan,
                   const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                   const ArrisLine& line, double window_mm, const Surroundings& around);

// All edges seen within +-window_mm of the arris' points along their normals.
std::vector<ArrisObservation> observe_edges(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const ArrisLine& line, double window_mm, const Surroundings& around);

}  // namespace interstice::edges
