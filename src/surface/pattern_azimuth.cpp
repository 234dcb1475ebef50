#include "surface/pattern_azimuth.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"
#include "geometry/polygon.h"
#include "plan/piece_model.h"

namespace interstice::surface {

using Eigen::Vector2d;

namespace {

constexpr double kErode_mm = 1.5;  // pieces sit a millimetre or two off their planned place
constexpr double kSeam_mm = 2;  // beside a piece lies a seam: wide enough to fill one of 4 mm from both sides
constexpr int kCoarseSteps = 720;

cv::Mat disc(double radius_mm, const MapGrid& grid) {
  const int k = 2 * std::max(1, static_cast<int>(std::lround(radius_mm / grid.step_mm))) + 1;
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, {k, k});
}

// Region of every map cell: 0 the form beside all pieces, then the pieces, then what lies round each of them,
// -1 too near a border to be sure. Seams are dark and a bare form may be bright: as one region they would
// differ so much among themselves that the best turn is one that hides seams under dark pieces (2.6 degrees
// off with a third of a shell glued on).
cv::Mat regions_of(const plan::Plan& plan, const MapGrid& grid, double height_mm, bool mirrored) {
  cv::Mat regions(grid.side(), grid.side(), CV_32S, cv::Scalar(0));
  std::vector<cv::Mat> faces;
  for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
    const plan::PieceFace face = plan::planned_face(plan, geometry::TileIndex(t));
    std::vector<cv::Point2f> outline;
    for (const Vector2d& p : face.outline) {
      const Vector2d uv =
          plan.profile.locate(face.frame.lift(p) + (height_mm - plan.tile_thickness_mm) * face.frame.normal)
              .uv;
      const Vector2d cell = grid.cell(mirrored ? Vector2d(uv.x(), -uv.y()) : uv);
      outline.emplace_back(static_cast<float>(cell.x()), static_cast<float>(cell.y()));
    }
    cv::Mat mask = cv::Mat::zeros(grid.side(), grid.side(), CV_8U), round;
    std::vector<cv::Point> rounded(outline.begin(), outline.end());
    cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{rounded}, 255);
    cv::dilate(mask, round, disc(kSeam_mm, grid));
    regions.setTo(static_cast<int>(plan.tiles.size() + t) + 1, round);
    faces.push_back(mask);
  }
  for (std::size_t t = 0; t < faces.size(); ++t) {
    cv::Mat core;
    cv::erode(faces[t], core, disc(kErode_mm, grid));
    regions.setTo(-1, faces[t]);
    regions.setTo(static_cast<int>(t) + 1, core);
  }
  return regions;
}

struct PatternSample {
  Vector2d uv;
  cv::Vec3d colour;
  double square;  // of the colour's length
};

// Share of the samples' variance of colour that the regions explain, the picture turned back by the angle
// (from the scan's frame to the plan's).
double explained_share(const std::vector<PatternSample>& samples, const cv::Mat& regions, const MapGrid& grid,
                       double angle, std::size_t count_of_regions) {
  struct Region {
    cv::Vec3d sum{0, 0, 0};
    double squares = 0, count = 0;
  };
  std::vector<Region> all(count_of_regions);
  const double c = std::cos(angle), s = std::sin(angle);
  for (const PatternSample& sample : samples) {
    const Vector2d cell =
        grid.cell({c * sample.uv.x() + s * sample.uv.y(), -s * sample.uv.x() + c * sample.uv.y()});
    if (!(cell.x() > -0.5 && cell.y() > -0.5)) continue;
    const int column = static_cast<int>(cell.x() + 0.5), row = static_cast<int>(cell.y() + 0.5);
    if (column >= regions.cols || row >= regions.rows) continue;
    const int region = regions.at<int>(row, column);
    if (region < 0) continue;
    Region& r = all[static_cast<std::size_t>(region)];
    r.sum += sample.colour;
    r.squares += sample.square;
    r.count += 1;
  }
  cv::Vec3d total(0, 0, 0);
  double squares = 0, count = 0, between = 0;
  for (const Region& r : all) {
    total += r.sum;
    squares += r.squares;
    count += r.count;
    if (r.count > 0) between += r.sum.dot(r.sum) / r.count;
  }
  if (count < 1) return 0;
  const double mean = total.dot(total) / count, variance = squares - mean;
  return variance > 0 ? (between - mean) / variance : 0;
}

// How far the value at `k` stands above the mean of its surroundings, in standard deviations of what all
// values do. The share swings widely with how much wood the plan's pieces cover; the pattern's own peak is a
// few degrees wide.
double over_surroundings(const std::vector<double>& share, std::size_t k) {
  const int n = static_cast<int>(share.size()), half = n / 24;  // 15 degrees
  std::vector<double> over(share.size());
  double square = 0;
  for (int i = 0; i < n; ++i) {
    double mean = 0;
    for (int d = -half; d <= half; ++d) mean += share[static_cast<std::size_t>((i + d + n) % n)];
    over[static_cast<std::size_t>(i)] = share[static_cast<std::size_t>(i)] - mean / (2 * half + 1);
    square += over[static_cast<std::size_t>(i)] * over[static_cast<std::size_t>(i)] / n;
  }
  return over[k] / std::sqrt(std::max(square, 1e-12));
}

}  // namespace

Turn find_turn(const cv::Mat& picture, const MapGrid& grid, const plan::Plan& plan, double height_mm,
               bool mirrored, int threads) {
  const cv::Mat regions = regions_of(plan, grid, height_mm, mirrored);
  const std::size_t count_of_regions = 2 * plan.tiles.size() + 1;
  std::vector<PatternSample> samples;
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const cv::Vec3d colour = picture.at<cv::Vec3f>(row, column);
      if (std::isfinite(colour[0])) samples.push_back({grid.uv(column, row), colour, colour.dot(colour)});
    }
  }
  std::vector<double> share(kCoarseSteps);
  core::parallel_for(share.size(), threads, [&](std::size_t k) {
    const double angle = 2 * std::numbers::pi * static_cast<double>(k) / kCoarseSteps;
    share[k] = explained_share(samples, regions, grid, angle, count_of_regions);
  });
  const auto best = std::max_element(share.begin(), share.end());
  Turn turn;
  turn.explained = *best;
  turn.angle = 2 * std::numbers::pi * static_cast<double>(best - share.begin()) / kCoarseSteps;
  double mean = 0, var = 0;
  for (const double s : share) mean += s / kCoarseSteps;
  for (const double s : share) var += (s - mean) * (s - mean) / kCoarseSteps;
  turn.clearance = (turn.explained - mean) / std::sqrt(std::max(var, 1e-12));
  turn.over_surroundings = over_surroundings(share, static_cast<std::size_t>(best - share.begin()));
  for (double step = std::numbers::pi / kCoarseSteps; step > 2e-4; step /= 2) {
    for (const double candidate : {turn.angle - step, turn.angle + step}) {
      const double s = explained_share(samples, regions, grid, candidate, count_of_regions);
      if (s > turn.explained) {
        turn.explained = s;
        turn.angle = candidate;
      }
    }
  }
  return turn;
}

}  // namespace interstice::surface
