// How surely the photos' positions in a bundle are known.
#pragma once

#include "scan/bundle.h"

namespace interstice::scan {

// Whether the lens, which the photos share, counts as unknown or as given.
enum class Shared { unknown, held };

// Covariance of every photo's pose and focal length, from the corners alone (the tie points are left out,
// which is on the safe side). Order per photo: rotation vector of camera_T_bench (rad, left-multiplied),
// translation (mm), focal length (relative). With the lens held it is nearer to that of a photo against the
// others: an error of the lens moves all photos' views of a place nearly alike.
geometry::IndexedVector<geometry::PhotoIndex, Eigen::Matrix<double, 7, 7>> pose_covariances(
    const Bundle& bundle, const BundleOptions& options, Shared shared = Shared::unknown);

// The same covariance with the rotation taken about the camera instead of the bench's origin: of (rotation,
// translation) that move a point p before the camera to p + rotation x p + translation.
Eigen::Matrix<double, 7, 7> about_camera(const Eigen::Matrix<double, 7, 7>& about_bench,
                                         const Eigen::Isometry3d& camera_T_bench);

}  // namespace interstice::scan
