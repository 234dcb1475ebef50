// Natural features of a photo, and where in the photo they are looked for.
#pragma once

#include <Eigen/Core>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace interstice::scan {

struct Features {
  std::vector<Eigen::Vector2d> pixel;  // full-size pixels, centre of the first pixel at (0, 0)
  std::vector<double> sd_px;    // standard uncertainty of the position, growing with the feature's scale
  std::vector<float> strength;  // contrast, grey values from 0 to 1
  cv::Mat descriptors;          // one row a feature: SIFT, CV_8U, as found; to be compared: RootSIFT, CV_32F
};

// SIFT features inside `mask` (full size, 8 bit, non-zero: look here), at most `most` by strength. Photos
// wider than about 2400 pixels are halved (or more) first: tie points need number and spread, not the last
// pixel. The positions carry no systematic shift (SIFT of this library returns +0.25 px at every scale).
Features find_features(const cv::Mat& grey, const cv::Mat& mask, int most);

// Those inside a mask of the whole photo.
Features inside(const Features& features, const cv::Mat& mask);

// Features as found, made ready to be compared.
Features ready_to_compare(Features found);

// The `most` strongest, in their order.
Features strongest(const Features& features, int most);

}  // namespace interstice::scan
