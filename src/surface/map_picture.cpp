#include "surface/map_picture.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"

namespace interstice::surface {

using Eigen::Vector2d;
using Eigen::Vector3d;

std::vector<geometry::PhotoIndex> views_of(const scan::Scan& scan, const Vector3d& p, const Vector3d& normal,
                                           std::size_t most, double least_cosine) {
  std::vector<std::pair<double, geometry::PhotoIndex>> seen;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    const double cosine = normal.dot((photo.centre() - p).normalized());
    if (cosine < least_cosine) continue;
    if (!photo.lens.in_frame(photo.project(p), 3)) continue;
    seen.emplace_back(-cosine, geometry::PhotoIndex(i));
  }
  std::sort(seen.begin(), seen.end());
  if (seen.size() > most) seen.resize(most);
  std::vector<geometry::PhotoIndex> out;
  for (const auto& [cosine, photo] : seen) out.push_back(photo);
  return out;
}

std::vector<geometry::PhotoIndex> spread_views_of(const scan::Scan& scan, const Vector3d& p,
                                                  const Vector3d& normal, std::size_t most) {
  // Two photos this far apart, compared to a tenth of a pixel, tell a height to seven tenths of one.
  static const double alike = std::cos(8 * std::numbers::pi / 180);
  std::vector<geometry::PhotoIndex> out;
  std::vector<Vector3d> directions;
  for (const geometry::PhotoIndex photo : views_of(scan, p, normal, scan.photos.size())) {
    if (out.size() == most) break;
    const Vector3d direction = (scan.photos[photo].centre() - p).normalized();
    const auto near = [&](const Vector3d& d) { return d.dot(direction) > alike; };
    if (std::any_of(directions.begin(), directions.end(), near)) continue;
    out.push_back(photo);
    directions.push_back(direction);
  }
  return out;
}

cv::Mat map_picture(const scan::Scan& scan,
                    const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                    const geometry::Profile& profile, const MapGrid& grid, double height_mm,
                    const cv::Mat& heights, std::size_t most, int threads) {
  cv::Mat out(grid.side(), grid.side(), CV_32FC3, cv::Scalar::all(NAN));
  const double limit = profile.length() + 2;
  core::parallel_for(static_cast<std::size_t>(grid.side()), threads, [&](std::size_t r) {
    const int row = static_cast<int>(r);
    for (int column = 0; column < grid.side(); ++column) {
      const Vector2d uv = grid.uv(column, row);
      if (uv.norm() > limit) continue;
      const double h = heights.empty() ? height_mm : static_cast<double>(heights.at<float>(row, column));
      if (!std::isfinite(h)) continue;
      const Vector3d p = profile.point(uv, h);
      cv::Vec3f sum(0, 0, 0);
      int n = 0;
      for (const geometry::PhotoIndex photo : views_of(scan, p, profile.normal(uv), most)) {
        const Picture& picture = pictures[photo];
        const Vector2d q = picture.from_photo(scan.photos[photo].project(p));
        const int x = static_cast<int>(std::lround(q.x())), y = static_cast<int>(std::lround(q.y()));
        if (x < 0 || y < 0 || x >= picture.colour.cols || y >= picture.colour.rows) continue;
        sum += cv::Vec3f(picture.colour.at<cv::Vec3b>(y, x));
        ++n;
      }
      if (n > 0) out.at<cv::Vec3f>(row, column) = sum * (1.0f / static_cast<float>(n));
    }
  });
  return out;
}

cv::Mat regridded(const cv::Mat& values, const MapGrid& from, const MapGrid& to) {
  // Both grids have the pole in the middle cell; the map from cells to cells is linear.
  const double ratio = to.step_mm / from.step_mm, shift = from.centre - to.centre * ratio;
  cv::Mat columns(to.side(), to.side(), CV_32F), rows = columns.clone(), out;
  for (int r = 0; r < columns.rows; ++r) {
    for (int c = 0; c < columns.cols; ++c) {
      columns.at<float>(r, c) = static_cast<float>(c * ratio + shift);
      rows.at<float>(r, c) = static_cast<float>(r * ratio + shift);
    }
  }
  cv::remap(values, out, columns, rows, cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  return out;
}

}  // namespace interstice::surface
