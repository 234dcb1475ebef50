// Colour pictures of the form laid out on its map.
#pragma once

#include <opencv2/core/mat.hpp>

#include "geometry/profile.h"
#include "scan/scan.h"
#include "surface/map_grid.h"
#include "surface/pictures.h"

namespace interstice::surface {

// Photos that see a point of the surface well: on the camera's side of the surface, in frame, no hill of the
// form between; best (most square-on) first, at most `most`.
std::vector<geometry::PhotoIndex> views_of(const scan::Scan& scan, const Eigen::Vector3d& p,
                                           const Eigen::Vector3d& normal, std::size_t most,
                                           double least_cosine = 0.35);

// The same, without photos that look at the point from nearly where a better one does: together they agree at
// any height. (Of 96 photos the five most square-on lay within a few degrees, heights were wrong by
// millimetres, and photos seemed to show the form elsewhere.)
std::vector<geometry::PhotoIndex> spread_views_of(const scan::Scan& scan, const Eigen::Vector3d& p,
                                                  const Eigen::Vector3d& normal, std::size_t most);

// CV_32FC3 (B G R, 0 to 255), NaN where no photo sees the surface: the surface at `height_mm` (a number, or a
// grid of heights when `heights` is not empty) above the form, mean of the best `most` views.
cv::Mat map_picture(const scan::Scan& scan,
                    const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                    const geometry::Profile& profile, const MapGrid& grid, double height_mm,
                    const cv::Mat& heights, std::size_t most, int threads);

// A grid's values (CV_32F) on another grid over the same map, linearly between cells; beyond it, as at its edge.
cv::Mat regridded(const cv::Mat& values, const MapGrid& from, const MapGrid& to);

}  // namespace interstice::surface
