// Drawing on photos: lines to a sixteenth of a pixel, and labels that keep clear of each other.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "report/label_places.h"

namespace interstice::report {

// Okabe and Ito's colours (Color Universal Design, 2008), B G R.
inline const cv::Scalar kVermillion(0, 94, 213), kBlue(178, 114, 0), kPurple(167, 121, 204),
    kWhite(255, 255, 255), kBlack(0, 0, 0);

void draw_line(cv::Mat& picture, const std::vector<cv::Point2d>& points, bool closed,
               const cv::Scalar& colour, int width);

// Writes on a white ground, at the place or the nearest free one above or below.
void label(cv::Mat& picture, const std::string& text, cv::Point at, double size, const cv::Scalar& colour,
           LabelPlaces& places);

}  // namespace interstice::report
