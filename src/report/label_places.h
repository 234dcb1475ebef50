// Where labels go on a picture, clear of one another and of what must stay visible. Pixels.
#pragma once

#include <opencv2/core/types.hpp>
#include <vector>

namespace interstice::report {

class LabelPlaces {
 public:
  explicit LabelPlaces(cv::Size picture) : picture_(picture) {}

  void keep_clear(const cv::Rect& area) { taken_.push_back(area); }
  // An arrow as OpenCV draws it, with a head of `head` of its length; `width` of its line.
  void keep_clear_of_arrow(const cv::Point2d& from, const cv::Point2d& to, double head, int width);

  // The free place of this size nearest above or below the wanted one (both by the upper left corner), within
  // the picture; the wanted one where none is free. It is taken then.
  cv::Rect place(const cv::Rect& wanted);

 private:
  bool is_free(const cv::Rect& area) const;

  cv::Size picture_;
  std::vector<cv::Rect> taken_;
};

}  // namespace interstice::report
