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
// Shade of the broken corner (edges/broken_corner.h). Too narrow to be resolved, a strip darker than the face
// by a share k of its light draws the edge towards itself: by k * `shade_mm`, where shade_mm is the strip's
// width times the face's light over the step of light. k is an unknown of the fit in edges/trace_arris.h.
//
// Bright strip. Light from above makes the strip brighter than face and wall: then the step rises at its
// upper end and falls at the arris. In views onto the wall a rise with a fall a strip's width outward of it
// is not the arris; the fall is.
#pragma once

#include <vector>

#include "edges/broken_corner.h"
#include "edges/edge_profiles.h"

namespace interstice::edges {

struct ArrisObservation {
  std::size_t point;
  geometry::PhotoIndex photo;
  double slope, offset_mm, contrast, sd_mm;
  double shade_mm = 0;          // derivative of the offset by the corner's darkness
  double light_or_code_mm = 0;  // half the difference between places by light and by code values
  double pixel_mm = 0;          // of the photo, across the edge
  double weight = 1;            // robust weight after the fit
  double residual_mm = 0;       // of the offset, about the fit
  bool looks_up = false;        // the wall below the point (edges/broken_corner.h)
};

// All edges seen within +-window_mm of the outline's points along their normals.
std::vector<ArrisObservation> observe_edges(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::PlaneFrame& frame, const geometry::Polygon& outline,
    const std::vector<Eigen::Vector2d>& normals, double window_mm, const BrokenCorner& corner,
    const Surroundings& around);

}  // namespace interstice::edges
