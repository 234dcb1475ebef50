#include "report/label_places.h"

#include <algorithm>
#include <cmath>

namespace interstice::report {

void LabelPlaces::keep_clear_of_arrow(const cv::Point2d& from, const cv::Point2d& to, double head,
                                      int width) {
  const cv::Point2d along = to - from;
  const double length = std::hypot(along.x, along.y);
  if (!(length < 1e5)) return;  // a point behind the camera
  const int steps = std::max(1, static_cast<int>(std::ceil(length / std::max(1, width))));
  for (int i = 0; i <= steps; ++i) {
    // The head's two strokes stand at 45 degrees: half as wide as head / sqrt(2) of the arrow.
    const double from_tip = length * (steps - i) / steps, wing = head * length / std::sqrt(2.0);
    const double half = width + (from_tip <= wing ? from_tip : 0.0);
    const cv::Point2d at = from + along * (static_cast<double>(i) / steps);
    taken_.emplace_back(cv::Point(static_cast<int>(at.x - half), static_cast<int>(at.y - half)),
                        cv::Point(static_cast<int>(at.x + half) + 1, static_cast<int>(at.y + half) + 1));
  }
}

cv::Rect LabelPlaces::place(const cv::Rect& wanted) {
  cv::Rect mine = wanted;
  mine.x = std::clamp(mine.x, 0, std::max(0, picture_.width - mine.width));
  mine.y = std::clamp(mine.y, 0, std::max(0, picture_.height - mine.height));
  const cv::Rect first = mine;
  constexpr int kTries = 60;  // of a third of the label's height, down and up in turn
  for (int k = 0; k < kTries && !is_free(mine); ++k) {
    const int step = std::max(1, first.height / 3) * (k / 2 + 1);
    mine.y = first.y + (k % 2 == 0 ? step : -step);
  }
  if (!is_free(mine)) mine = first;
  taken_.push_back(mine);
  return mine;
}

bool LabelPlaces::is_free(const cv::Rect& area) const {
  return area.y >= 0 && area.y + area.height <= picture_.height &&
         std::none_of(taken_.begin(), taken_.end(), [&](const cv::Rect& r) { return (r & area).area() > 0; });
}

}  // namespace interstice::report
