#pragma once

#include <opencv2/imgcodecs.hpp>
#include <string>
#include <vector>

namespace interstice::testing_support {

// The bytes of a picture's file: ending ".jpg", ".png", ...
inline std::string encoded(const char* ending, const cv::Mat& picture,
                           const std::vector<int>& parameters = {}) {
  std::vector<uchar> bytes;
  cv::imencode(ending, picture, bytes, parameters);
  return {bytes.begin(), bytes.end()};
}

}  // namespace interstice::testing_support
