// Photos of the demo scan at half size.
#pragma once

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "hard/cases.h"

namespace interstice::hard {

inline cv::Mat plover_photo(int number, double scale = 0.5) {
  char name[40];
  std::snprintf(name, sizeof name, "/photos/photo_%02d.jpg", number);
  const cv::Mat whole = cv::imread(kPlover + name, cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
  cv::Mat small;
  cv::resize(whole, small, {}, scale, scale, cv::INTER_AREA);
  return small;
}

inline void write_photos(const fs::path& folder, const std::vector<int>& numbers) {
  fs::create_directories(folder);
  for (const int n : numbers) {
    cv::imwrite((folder / ("photo_" + std::to_string(n) + ".jpg")).string(), plover_photo(n),
                {cv::IMWRITE_JPEG_QUALITY, 92});
  }
}

}  // namespace interstice::hard
