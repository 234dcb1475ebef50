// The arris of one piece, to a fraction of a pixel, from all photos that show it.
//
// Model: the piece's widest outline lies in a plane (the arris plane, a broken corner's height below the
// face). Point i is displaced by d_i along its outward normal from a start outline, the plane by
// z = h + a x + b y from a start plane; the corner is darker than the face by k_i. A photo that sees the
// point under `slope` (edges/edge_profiles.h) shows the edge at
//     offset = d_i - slope * z(x_i, y_i) + k_i * shade + rim - w
// (shade: edges/edge_steps.h; rim: edges/broken_corner.h; w, where the rim is the contour: how much wider the
// corner is than taken), so views of different slopes give the plane, and the
// plane gives every edge its true place in 3-D. Solved by robust least squares over all points and views of
// the piece, with a weak prior on the bending of d. Views in which the piece's own wall is hidden (slope < 0)
// show the arris as a contour and carry the result; views onto the wall show two edges and only help where
// there are too few of the others. Errors of neighbouring points and of the views of one point are alike
// (light, grain, corner); for the plane all of them count as one reading, or hundreds of readings that err
// together would outvote the face. Bowl frame, mm.
#pragma once

#include "edges/edge_steps.h"

namespace interstice::edges {

// What is known beforehand: the face (standard uncertainties), and how its corners are broken.
struct ArrisPrior {
  geometry::PlaneFrame face;
  double height_sd_mm = 0.1, tilt_sd = 0.005;
  BrokenCorner corner;
};

struct TracedArris {
  geometry::PlaneFrame frame;  // arris plane; axes near those of the start frame
  geometry::Polygon outline;   // in the frame, counter-clockwise
  std::vector<double>
      sd_mm;  // standard uncertainty of each point across the outline; negative where no photo
              // shows the point and it lies where its neighbours and the bending prior put it
  // Of each point: the half-width of an error that is the camera's doing and the same for all edges, no part
  // of sd_mm: half the difference between its places by light and by code values, a tenth of a pixel at
  // least.
  std::vector<double> shared_error_mm;
  // Of each point: from 0, where two photos or more that agree show the edge about it, to 1, where one alone
  // does.
  std::vector<double> alone;
  std::vector<ArrisObservation> observations;
  double residual_mm = 0;  // robust standard deviation of observations about the fit
  // Variance of readings over their stated one; those alike along the outline count once.
  double noise_scale = 1;
  // Of the corner's width beyond the one taken, by what steep views show against others, and its standard
  // uncertainty.
  double wider_mm = 0, wider_sd_mm = 0;
  double plane_sd_mm = 0;  // standard uncertainty of the plane's height at the outline's centre
};

// From a first frame and outline; edges are looked for within each of the windows in turn.
TracedArris trace_arris(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const geometry::PlaneFrame& frame, const geometry::Polygon& outline,
                        const ArrisPrior& known, const std::vector<double>& windows_mm,
                        const Surroundings& around = {});

}  // namespace interstice::edges
