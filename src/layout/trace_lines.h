// Dark drawn lines on a picture of the form.
#pragma once

#include "geometry/ortho_picture.h"
#include "geometry/profile.h"

namespace interstice::layout {

inline constexpr double kLargestMark_mm =
    14.0;  // handwriting and marks are smaller than this, outlines larger

struct LinePicture {
  cv::Mat ridge;   // float: how much darker than both sides, across the line; relative to the ground, 0..1
  cv::Mat form;    // 8 bit: 255 on the form and seen
  cv::Mat unseen;  // 8 bit: 255 on the form and not seen
  cv::Mat lines;   // 8 bit: 255 on drawn lines, labels and marks left out
  double threshold = 0;  // of ridge, between lines and grain
};

// Throws MeasureError when no lines stand out or most of the form is unseen.
LinePicture find_lines(const geometry::OrthoPicture& picture, const geometry::Profile& form);

}  // namespace interstice::layout
