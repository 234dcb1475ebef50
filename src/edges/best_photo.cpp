#include "edges/best_photo.h"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kBestCosine = 0.2;
constexpr double kAround_mm = 5.0;   // the seam, its two arrises and some grain
constexpr double kLeastSpread = 12;  // grey levels: several times a phone picture's noise
constexpr double kUnread_mm = 5.0;   // edge width taken where none can be read: wider than any that can

}  // namespace

std::optional<double> edge_width_px(const cv::Mat& grey, const Vector2d& at, double half_px) {
  const cv::Rect box(static_cast<int>(std::lround(at.x() - half_px)),
                     static_cast<int>(std::lround(at.y() - half_px)), static_cast<int>(2 * half_px) + 1,
                     static_cast<int>(2 * half_px) + 1);
  const cv::Rect inside(1, 1, grey.cols - 2, grey.rows - 2);
  if ((box & inside) != box || box.area() < 25) return std::nullopt;
  std::vector<double> levels, steps;
  for (int y = box.y; y < box.y + box.height; ++y) {
    for (int x = box.x; x < box.x + box.width; ++x) {
      // Means of three pixels across the difference hold the noise down.
      const auto row = [&](int dx) {
        return (grey.at<uchar>(y - 1, x + dx) + grey.at<uchar>(y, x + dx) + grey.at<uchar>(y + 1, x + dx)) /
               3.0;
      };
      const auto column = [&](int dy) {
        return (grey.at<uchar>(y + dy, x - 1) + grey.at<uchar>(y + dy, x) + grey.at<uchar>(y + dy, x + 1)) /
               3.0;
      };
      levels.push_back(grey.at<uchar>(y, x));
      steps.push_back(std::hypot(row(1) - row(-1), column(1) - column(-1)) / 2);
    }
  }
  // Hundredths instead of extremes: single pixels are noise or glints.
  const auto quantile = [](std::vector<double>& v, double share) {
    const auto k = v.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(v.size() - 1));
    std::nth_element(v.begin(), k, v.end());
    return *k;
  };
  const double spread = quantile(levels, 0.98) - quantile(levels, 0.02), step = quantile(steps, 0.98);
  if (spread < kLeastSpread || step <= 0) return std::nullopt;
  return spread / step;
}

std::string best_photo(const scan::Scan& scan,
                       const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                       const Vector3d& place, const Vector3d& outward) {
  double best = 0;
  std::string name;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    const double cosine = outward.dot((photo.centre() - place).normalized());
    const Vector2d at = photo.project(place);
    if (cosine <= kBestCosine || !photo.lens.in_frame(at, 0.02 * photo.lens.width)) continue;
    const surface::Picture& picture = pictures[geometry::PhotoIndex(i)];
    const double px_per_mm = photo.lens.fx / (photo.camera_T_bowl * place).z() / picture.factor;
    const auto width = edge_width_px(picture.grey, picture.from_photo(at), kAround_mm * px_per_mm);
    const double score = cosine / (width ? std::min(kUnread_mm, *width / px_per_mm) : kUnread_mm);
    if (score > best) {
      best = score;
      name = photo.info.name;
    }
  }
  return name;
}

}  // namespace interstice::edges
