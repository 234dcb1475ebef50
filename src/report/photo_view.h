// The part of a photo that is shown: cut out, scaled, and turned the way a viewer turns the photo.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>

#include "scan/scan.h"
#include "seams/fit_document.h"

namespace interstice::report {

struct PhotoView {
  const scan::ScannedPhoto* photo = nullptr;
  cv::Rect crop;     // of the sensor's picture
  double scale = 1;  // shown pixels a sensor pixel
  cv::Size size;     // after scaling, before turning

  cv::Point2d place(const Eigen::Vector3d& p_bowl) const;  // in the shown picture
  cv::Size shown() const;                                  // its size
};

// A view of `crop` with at most `longest_px` on the longer side; never enlarged.
PhotoView view_of(const scan::ScannedPhoto& photo, const cv::Rect& crop, int longest_px);

// The shown picture, from the sensor's whole picture.
cv::Mat picture_of(const PhotoView& view, const cv::Mat& whole);

// The part of a photo that shows the measured pieces, with a tenth of margin.
cv::Rect form_in_photo(const scan::ScannedPhoto& photo, const seams::FitDocument& fit);

}  // namespace interstice::report
