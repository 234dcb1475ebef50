#include "surface/height_field.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/parallel.h"
#include "surface/map_picture.h"

namespace interstice {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr int kSide = 5;  // samples along a patch's side
constexpr int kSamples = kSide * kSide;
using Patch = std::array<float, kSamples>;

// Where a patch lands in a photo, to first order: pixel = at + i * dx + j * dy. Patches are a few millimetres
// at hundreds of millimetres: the curvature of the projection is far below a pixel.
struct Landing {
  Vector2d at, dx, dy;
};

Landing land(const ScannedPhoto& photo, const Picture& picture, const Vector3d& p, const Vector3d& ex,
             const Vector3d& ey, double step) {
  const Vector2d at = picture.from_photo(photo.project(p));
  return {at, picture.from_photo(photo.project(p + step * ex)) - at,
          picture.from_photo(photo.project(p + step * ey)) - at};
}

// Fills a zero-mean unit-length patch; false where it leaves the picture or is flat.
bool fill(const cv::Mat& grey, const Landing& l, Patch& patch) {
  float sum = 0;
  for (int j = 0; j < kSide; ++j) {
    for (int i = 0; i < kSide; ++i) {
      const double a = i - (kSide - 1) / 2.0, b = j - (kSide - 1) / 2.0;
      const float v =
          sample(grey, l.at.x() + a * l.dx.x() + b * l.dy.x(), l.at.y() + a * l.dx.y() + b * l.dy.y());
      if (std::isnan(v)) return false;
      patch[static_cast<std::size_t>(j * kSide + i)] = v;
      sum += v;
    }
  }
  const float mean = sum / kSamples;
  float squares = 0;
  for (float& v : patch) {
    v -= mean;
    squares += v * v;
  }
  if (squares < 1.0f) return false;  // under a fifth of a grey level: nothing to compare
  const float scale = 1.0f / std::sqrt(squares);
  for (float& v : patch) v *= scale;
  return true;
}

// Mean correlation over all pairs of n unit patches whose sum is `sum`.
float mean_correlation(const Patch& sum, int n) {
  if (n < 2) return -1;
  float squares = 0;
  for (const float v : sum) squares += v * v;
  return (squares - static_cast<float>(n)) / static_cast<float>(n * (n - 1));
}

void agreement_of_row(int row, const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                      const Profile& profile, const MapGrid& grid, const HeightOptions& options,
                      std::vector<cv::Mat>& levels) {
  const double step = options.patch_mm / (kSide - 1);
  for (int column = 0; column < grid.side(); ++column) {
    const Vector2d uv = grid.uv(column, row);
    if (uv.norm() > profile.length()) continue;
    const Vector3d normal = profile.normal(uv), ex = profile.along_ring(uv), ey = profile.towards_pole(uv);
    const double middle = (options.lowest_mm + options.highest_mm) / 2;
    const auto views = views_of(scan, profile.point(uv, middle), normal, options.views);
    if (views.size() < 2) continue;
    for (std::size_t k = 0; k < levels.size(); ++k) {
      const Vector3d p = profile.point(uv, options.lowest_mm + static_cast<double>(k) * options.step_mm);
      Patch sum{};
      int n = 0;
      for (const PhotoIndex photo : views) {
        Patch patch;
        if (!fill(pictures[photo].grey, land(scan.photos[photo], pictures[photo], p, ex, ey, step), patch))
          continue;
        for (int s = 0; s < kSamples; ++s)
          sum[static_cast<std::size_t>(s)] += patch[static_cast<std::size_t>(s)];
        ++n;
      }
      levels[k].at<float>(row, column) = mean_correlation(sum, n);
    }
  }
}

void pick_best(const std::vector<cv::Mat>& levels, const HeightOptions& options, HeightField& field) {
  const int side = field.grid.side();
  for (int row = 0; row < side; ++row) {
    for (int column = 0; column < side; ++column) {
      std::size_t best = 0;
      for (std::size_t k = 1; k < levels.size(); ++k) {
        if (levels[k].at<float>(row, column) > levels[best].at<float>(row, column)) best = k;
      }
      const float top = levels[best].at<float>(row, column);
      field.agreement.at<float>(row, column) = top;
      if (top < static_cast<float>(options.least_agreement) || best == 0 || best + 1 == levels.size())
        continue;
      const double a = static_cast<double>(levels[best - 1].at<float>(row, column)),
                   b = static_cast<double>(top),
                   c = static_cast<double>(levels[best + 1].at<float>(row, column));
      const double curve = a - 2 * b + c;
      const double shift = curve < -1e-6 ? std::clamp(0.5 * (a - c) / curve, -0.5, 0.5) : 0.0;
      field.height.at<float>(row, column) =
          static_cast<float>(options.lowest_mm + (static_cast<double>(best) + shift) * options.step_mm);
    }
  }
}

}  // namespace

HeightField sweep_heights(const Scan& scan, const IndexedVector<PhotoIndex, Picture>& pictures,
                          const Profile& profile, const MapGrid& grid, const HeightOptions& options) {
  HeightField field;
  field.grid = grid;
  field.height = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(NAN));
  field.agreement = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(-1));
  const auto count =
      static_cast<std::size_t>(std::floor((options.highest_mm - options.lowest_mm) / options.step_mm)) + 1;
  std::vector<cv::Mat> levels(count);
  for (cv::Mat& level : levels) level = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(-1));
  parallel_for(static_cast<std::size_t>(grid.side()), options.threads, [&](std::size_t row) {
    agreement_of_row(static_cast<int>(row), scan, pictures, profile, grid, options, levels);
  });
  const int pool = 2 * static_cast<int>(std::lround(options.pool_mm / grid.step_mm / 2)) + 1;
  parallel_for(levels.size(), options.threads, [&](std::size_t k) {
    cv::Mat pooled;
    cv::blur(levels[k], pooled, {pool, pool});
    levels[k] = pooled;
  });
  pick_best(levels, options, field);
  return field;
}

}  // namespace interstice
