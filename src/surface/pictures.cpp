#include "surface/pictures.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"

namespace interstice::surface {
namespace {

cv::Mat reduced(const cv::Mat& picture, int factor) {
  if (factor == 1) return picture;
  const cv::Rect whole(0, 0, picture.cols / factor * factor, picture.rows / factor * factor);
  cv::Mat small;
  cv::resize(picture(whole), small, cv::Size(picture.cols / factor, picture.rows / factor), 0, 0,
             cv::INTER_AREA);
  return small;
}

}  // namespace

geometry::IndexedVector<geometry::PhotoIndex, Picture> read_pictures(const scan::Scan& scan,
                                                                     double footprint_mm, bool colour,
                                                                     int threads) {
  geometry::IndexedVector<geometry::PhotoIndex, Picture> out(scan.photos.size());
  const double full = std::max(1e-3, scan.quality.pixel_footprint_mm);
  const int factor = std::clamp(static_cast<int>(footprint_mm / full), 1, 16);
  core::parallel_for(scan.photos.size(), threads, [&](std::size_t i) {
    const camera::PhotoInfo& info = scan.photos[geometry::PhotoIndex(i)].info;
    Picture& picture = out[geometry::PhotoIndex(i)];
    picture.factor = factor;
    if (colour) {
      picture.colour = reduced(scan.store->colour(info), factor);
      cv::cvtColor(picture.colour, picture.grey, cv::COLOR_BGR2GRAY);
    } else {
      picture.grey = reduced(scan.store->grey(info), factor);
    }
  });
  return out;
}

}  // namespace interstice::surface
