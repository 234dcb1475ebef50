// A flat piece of paper laid on the form with the least distortion.
//
// Model: the piece's middle touches the form; every other place lies in its own direction along the form's
// straightest line (geodesic), at a distance that shares out what a curved form asks of flat paper. On a form
// of Gaussian curvature K a disc of radius a is strained least (integral of the squares of strain along and
// across the rays) with f(s) = s (1 + K (a^2 / 16 - s^2 / 48)), the first order in K; a^2 is twice the piece's
// mean square radius. Frame `bowl`, mm.
#pragma once

#include "geometry/polygon.h"
#include "geometry/profile.h"

namespace interstice::layout {

struct PaperPose {
  Eigen::Vector3d at;      // of the piece's middle, on the form
  Eigen::Vector3d across;  // unit, tangent: the paper's x
};

// At a place of the map, the paper's y towards the pole, then turned counter-clockwise as seen from outside.
PaperPose paper_pose(const geometry::Profile& form, const Eigen::Vector2d& uv, double turn);
// Moved along the form by a small step in the paper's own x and y, and turned.
PaperPose moved(const geometry::Profile& form, const PaperPose& pose, const Eigen::Vector3d& x_y_turn);

Eigen::Vector3d outside_normal(const geometry::Profile& form, const Eigen::Vector3d& on_form);

// Half of a^2 above: mean over the area of the squared distance from (0, 0).
double mean_square_radius(const geometry::Polygon& outline);
double gaussian_curvature(const geometry::Profile& form, double rho);

// Where a place of the paper comes to lie, on the form. `step_mm`: of the way along the geodesic.
Eigen::Vector3d laid_on(const geometry::Profile& form, const PaperPose& pose, double mean_square,
                        const Eigen::Vector2d& place, double step_mm);

}  // namespace interstice::layout
