// What errors of the photos' positions do to a width.
//
// Model: the place of an edge is the mean of what single photos say, each with its share. A photo whose pose
// is off (rotation, translation, relative focal length: its covariance in the scan) sees an edge that lies in
// a plane off along the plane's direction across the edge by g . delta. Two edges across a seam are seen
// partly by the same photos: of a photo's error only the difference of what it does to either remains,
//     var = sum over photos of q' C q,  q = share_1 g_1 - share_2 g_2.
// Errors of different photos are taken as independent. Bowl frame, mm.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "edges/trace_arris.h"
#include "scan/scan.h"

namespace interstice::edges {

// Shares of the photos in the place of each of an outline's points, from the readings about it; they sum to
// 1, or are all 0 where no photo shows the piece.
std::vector<Eigen::VectorXd> photo_shares(const TracedArris& traced, std::size_t photos);

// Covariance, mm2, of how far the photo's errors shift what it shows of a plane at its origin, along the
// plane's two axes.
Eigen::Matrix2d shift_covariance(const scan::ScannedPhoto& photo, const geometry::PlaneFrame& plane);

// Standard deviation, mm, of how far off a photo shows a plane at its origin, over all directions in it.
double place_sd_mm(const scan::ScannedPhoto& photo, const geometry::PlaneFrame& plane);

class PhotoErrors {
 public:
  PhotoErrors() = default;  // photos without errors
  explicit PhotoErrors(const scan::Scan& scan) : scan_(&scan) {}

  struct Edge {
    Eigen::Vector3d at;
    Eigen::Vector3d plane_normal;  // unit
    const Eigen::VectorXd* shares;
  };
  // Variance, mm2, of the distance from edge 1 to edge 2 along `direction` (unit).
  double variance_mm2(const Edge& one, const Edge& two, const Eigen::Vector3d& direction) const;

 private:
  const scan::Scan* scan_ = nullptr;
};

}  // namespace interstice::edges
