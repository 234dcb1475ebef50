#include "report/photo_view.h"

#include <algorithm>
#include <opencv2/imgproc.hpp>

namespace interstice::report {

using Eigen::Vector2d;
using Eigen::Vector3d;

cv::Point2d PhotoView::place(const Vector3d& p) const {
  const Vector2d q = photo->project(p);
  const double x = (q.x() - crop.x + 0.5) * scale - 0.5, y = (q.y() - crop.y + 0.5) * scale - 0.5;
  const double w = size.width - 1, h = size.height - 1;
  switch (photo->info.exif_orientation) {
    case 2:
      return {w - x, y};
    case 3:
      return {w - x, h - y};
    case 4:
      return {x, h - y};
    case 5:
      return {y, x};
    case 6:
      return {h - y, x};
    case 7:
      return {h - y, w - x};
    case 8:
      return {y, w - x};
    default:
      return {x, y};
  }
}

cv::Size PhotoView::shown() const {
  return photo->info.exif_orientation >= 5 ? cv::Size(size.height, size.width) : size;
}

PhotoView view_of(const scan::ScannedPhoto& photo, const cv::Rect& crop, int longest_px) {
  PhotoView view{&photo, crop, 1, crop.size()};
  view.scale = std::min(1.0, static_cast<double>(longest_px) / std::max(crop.width, crop.height));
  view.size = {std::max(1, static_cast<int>(std::lround(crop.width * view.scale))),
               std::max(1, static_cast<int>(std::lround(crop.height * view.scale)))};
  return view;
}

cv::Mat picture_of(const PhotoView& view, const cv::Mat& whole) {
  const cv::Mat crop = whole(view.crop);
  cv::Mat picture;
  if (view.size != crop.size()) {
    cv::resize(crop, picture, view.size, 0, 0, cv::INTER_AREA);
  } else {
    picture = crop.clone();
  }
  switch (view.photo->info.exif_orientation) {
    case 2:
      cv::flip(picture, picture, 1);
      break;
    case 3:
      cv::rotate(picture, picture, cv::ROTATE_180);
      break;
    case 4:
      cv::flip(picture, picture, 0);
      break;
    case 5:
      cv::transpose(picture, picture);
      break;
    case 6:
      cv::rotate(picture, picture, cv::ROTATE_90_CLOCKWISE);
      break;
    case 7:
      cv::transpose(picture, picture);
      cv::flip(picture, picture, -1);
      break;
    case 8:
      cv::rotate(picture, picture, cv::ROTATE_90_COUNTERCLOCKWISE);
      break;
    default:
      break;
  }
  return picture;
}

cv::Rect form_in_photo(const scan::ScannedPhoto& photo, const seams::FitDocument& fit) {
  const cv::Rect whole(0, 0, photo.info.width, photo.info.height);
  double left = 1e9, right = -1e9, top = 1e9, bottom = -1e9;
  for (const seams::FitTile& tile : fit.tiles) {
    for (const Vector3d& p : tile.arris) {
      const Vector2d q = photo.project(p);
      if (!(std::abs(q.x()) < 1e6 && std::abs(q.y()) < 1e6)) continue;
      left = std::min(left, q.x());
      right = std::max(right, q.x());
      top = std::min(top, q.y());
      bottom = std::max(bottom, q.y());
    }
  }
  if (!(right > left)) return whole;
  const double margin = 0.1 * std::max(right - left, bottom - top);
  const cv::Rect box(cv::Point(static_cast<int>(left - margin), static_cast<int>(top - margin)),
                     cv::Point(static_cast<int>(right + margin), static_cast<int>(bottom + margin)));
  const cv::Rect cut = box & whole;
  return cut.area() > 0 ? cut : whole;
}

}  // namespace interstice::report
