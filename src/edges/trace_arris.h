// The arris of one piece, to a fraction of a pixel, from all photos that show it.
//
// Model: the piece's widest outline lies a broken corner's height below the face, which differs from piece to
// piece and round each piece. Point i is displaced by d_i along its outward normal from a start outline, and
// by z_i = h + a x + b y + g(i) from a start plane: g varies smoothly along the outline
// (edges/uneven_corner.h). The corner is darker than the face by k_i. A photo that sees the point under `slope`
// (edges/edge_profiles.h) shows the edge at
//     offset = d_i - slope * z_i + k_i * shade
// (shade: edges/edge_steps.h), or where the rim is the contour (edges/broken_corner.h), at
//     offset = d_i + aspect * z_i + rim - w * height
// (w: how much wider for its height the corner is than taken), so views of different slopes give the heights,
// and these give every edge its true place in 3-D. Solved by robust least squares over all points and views
// of the piece, with a weak prior on the bending of d. Views in which the piece's own wall is hidden (slope <
// 0) show the arris as a contour, views square onto it give d by themselves, views onto the wall give the
// heights; these are read a little less surely. Errors of neighbouring points and of the views of one point are alike
// (light, grain, corner); for the plane all of them count as one reading, or hundreds of readings that err
// together would outvote the face. Bowl frame, mm.
#pragma once

#include <algorithm>

#include "edges/edge_steps.h"
#include "edges/face_shape.h"

namespace interstice::edges {

// By how much the standard deviations of a photo's readings are larger than they are stated (edges/photo_noise.h); none:
// not known.
using PhotoNoise = geometry::IndexedVector<geometry::PhotoIndex, double>;

// What is known beforehand: the face (standard uncertainties), how its corners are broken, and the photos' noise.
struct ArrisPrior {
  FaceShape face;
  double height_sd_mm = 0.1, tilt_sd = 0.005;
  BrokenCorner corner;
  ContrastNoise contrast_noise;
  PhotoNoise photo_noise;
};

// Where to start from.
struct ArrisStart {
  geometry::PlaneFrame frame;
  geometry::Polygon outline;
  std::vector<double> z_mm = {};  // of every point over the frame; empty: in it
};

// From 0, where two photos or more show the edge about a point, to 1, where one alone does.
inline double shown_alone(double photos) {
  return std::clamp(2 - photos, 0.0, 1.0);
}

// Standard uncertainties of the points across the outline, mm; negative where no photo shows one. With them,
// mm2: the variance of their heights over the plane, and the covariance of the two (a photo that looks
// aslant sees an arris that is lower farther out).
struct PointErrors {
  std::vector<double> sd_mm, height_variance, covariance;
};

struct TracedArris {
  geometry::PlaneFrame frame;  // arris plane; axes near those of the start frame
  geometry::Polygon outline;   // in the frame, counter-clockwise
  std::vector<double> z_mm;    // of every point over the frame: the corner is not broken as deep everywhere
  PointErrors errors;  // negative sd_mm: no photo shows the point; it lies where its neighbours put it
  // Of each point: the half-width of an error that is the camera's doing and the same for all edges, no part
  // of sd_mm: half the difference between its places by light and by code values, a tenth of a pixel at
  // least.
  std::vector<double> shared_error_mm;
  std::vector<double> photos;  // of each point: how many that agree show the edge about it
  std::vector<ArrisObservation> observations;
  double residual_mm = 0;  // robust standard deviation of observations about the fit
  // Variance of readings over their stated one; those alike along the outline count once.
  double noise_scale = 1;
  // Of the corner's width beyond the one taken, by what steep views show against others, and its standard
  // uncertainty.
  double wider_mm = 0, wider_sd_mm = 0;
  double uneven_mm2 = 0;   // mean square of heights over the frame, what is not known of them included
  double plane_sd_mm = 0;  // standard uncertainty of the plane's height at the outline's centre
};

// Edges are looked for within each of the windows in turn.
TracedArris trace_arris(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const ArrisStart& start, const ArrisPrior& known,
                        const std::vector<double>& windows_mm, const Surroundings& around = {});

// A point of a traced arris in the bowl frame.
inline Eigen::Vector3d arris_point(const TracedArris& traced, std::size_t i) {
  return traced.frame.lift(traced.outline[i]) + traced.z_mm[i] * traced.frame.normal;
}

}  // namespace interstice::edges
