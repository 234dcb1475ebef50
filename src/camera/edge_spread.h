// How sharp a photo is: the spread of the printed cards' edges in it.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <vector>

#include "camera/cards.h"

namespace interstice::camera {

// Model: across the edge between a black and a white square the grey value is low + (high - low) Phi((d - at) / s),
// d the distance from the edge in pixels, Phi the normal distribution function; s, at, low and high by least
// squares over a short stretch in the middle of the edge. s takes in all that smears an edge: optics, focus, shake,
// the pixel's own area (0.29 px) and what the camera computed. Given is the lower quarter of all edges of all cards, as
// what the photo resolves shows where it is sharpest (a spread of more than a tenth of a marker's white margin reads
// too small); nothing when fewer than twelve edges can be read.
std::optional<double> edge_spread_px(const cv::Mat& grey, const std::vector<CardView>& cards);

}  // namespace interstice::camera
