#include "report/photo_pen.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace interstice::report {

void draw_line(cv::Mat& picture, const std::vector<cv::Point2d>& points, bool closed,
               const cv::Scalar& colour, int width) {
  constexpr int kShift = 4;
  std::vector<cv::Point> fixed;
  for (const cv::Point2d& p : points) {
    if (!(std::abs(p.x) < 1e5 && std::abs(p.y) < 1e5)) return;
    fixed.emplace_back(static_cast<int>(std::lround(p.x * (1 << kShift))),
                       static_cast<int>(std::lround(p.y * (1 << kShift))));
  }
  cv::polylines(picture, std::vector<std::vector<cv::Point>>{fixed}, closed, colour, width, cv::LINE_AA,
                kShift);
}

void label(cv::Mat& picture, const std::string& text, cv::Point at, double size, const cv::Scalar& colour,
           LabelPlaces& places) {
  const int thick = std::max(1, static_cast<int>(std::lround(size * 2)));
  int base = 0;
  const cv::Size box = cv::getTextSize(text, cv::FONT_HERSHEY_SIMPLEX, size, thick, &base);
  const cv::Rect ground =
      places.place({at.x - 3, at.y - box.height - 3, box.width + 6, box.height + base + 4});
  cv::rectangle(picture, ground, kWhite, cv::FILLED);
  cv::putText(picture, text, {ground.x + 3, ground.y + box.height + 3}, cv::FONT_HERSHEY_SIMPLEX, size,
              colour, thick, cv::LINE_AA);
}

}  // namespace interstice::report
