#include "surface/turn.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"
#include "geometry/polygon.h"
#include "plan/piece_model.h"

namespace interstice {

using Eigen::Vector2d;

namespace {

constexpr double kErode_mm = 1.5;  // pieces sit a millimetre or two off their planned place
constexpr int kCoarseSteps = 720;

// Region of every map cell: 0 seam, 1.. piece, -1 outside or too near a border to be sure.
cv::Mat regions_of(const Plan& plan, const MapGrid& grid, double height_mm, bool mirrored) {
  cv::Mat regions(grid.side(), grid.side(), CV_32S, cv::Scalar(0));
  for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
    const PieceFace face = planned_face(plan, TileIndex(t));
    std::vector<cv::Point2f> outline;
    for (const Vector2d& p : face.outline) {
      const Vector2d uv =
          plan.profile.locate(face.frame.lift(p) + (height_mm - plan.tile_thickness_mm) * face.frame.normal)
              .uv;
      const Vector2d cell = grid.cell(mirrored ? Vector2d(uv.x(), -uv.y()) : uv);
      outline.emplace_back(static_cast<float>(cell.x()), static_cast<float>(cell.y()));
    }
    cv::Mat mask = cv::Mat::zeros(grid.side(), grid.side(), CV_8U), core;
    std::vector<cv::Point> rounded(outline.begin(), outline.end());
    cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{rounded}, 255);
    const int k = 2 * std::max(1, static_cast<int>(std::lround(kErode_mm / grid.step_mm))) + 1;
    cv::erode(mask, core, cv::getStructuringElement(cv::MORPH_ELLIPSE, {k, k}));
    regions.setTo(-1, mask);
    regions.setTo(static_cast<int>(t) + 1, core);
  }
  return regions;
}

struct Sample {
  Vector2d uv;
  cv::Vec3d colour;
  double square;  // of the colour's length
};

// Share of the samples' variance of colour that the regions explain, the picture turned back by the angle
// (from the scan's frame to the plan's).
double explained_share(const std::vector<Sample>& samples, const cv::Mat& regions, const MapGrid& grid,
                       double angle, std::size_t tiles) {
  struct Region {
    cv::Vec3d sum{0, 0, 0};
    double squares = 0, count = 0;
  };
  std::vector<Region> all(tiles + 1);
  const double c = std::cos(angle), s = std::sin(angle);
  for (const Sample& sample : samples) {
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

}  // namespace

Turn find_turn(const cv::Mat& picture, const MapGrid& grid, const Plan& plan, double height_mm, bool mirrored,
               int threads) {
  const cv::Mat regions = regions_of(plan, grid, height_mm, mirrored);
  std::vector<Sample> samples;
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const cv::Vec3d colour = picture.at<cv::Vec3f>(row, column);
      if (std::isfinite(colour[0])) samples.push_back({grid.uv(column, row), colour, colour.dot(colour)});
    }
  }
  std::vector<double> share(kCoarseSteps);
  parallel_for(share.size(), threads, [&](std::size_t k) {
    const double angle = 2 * std::numbers::pi * static_cast<double>(k) / kCoarseSteps;
    share[k] = explained_share(samples, regions, grid, angle, plan.tiles.size());
  });
  const auto best = std::max_element(share.begin(), share.end());
  Turn turn;
  turn.explained = *best;
  turn.angle = 2 * std::numbers::pi * static_cast<double>(best - share.begin()) / kCoarseSteps;
  double mean = 0, var = 0;
  for (const double s : share) mean += s / kCoarseSteps;
  for (const double s : share) var += (s - mean) * (s - mean) / kCoarseSteps;
  turn.clearance = (turn.explained - mean) / std::sqrt(std::max(var, 1e-12));
  for (double step = std::numbers::pi / kCoarseSteps; step > 2e-4; step /= 2) {
    for (const double candidate : {turn.angle - step, turn.angle + step}) {
      const double s = explained_share(samples, regions, grid, candidate, plan.tiles.size());
      if (s > turn.explained) {
        turn.explained = s;
        turn.angle = candidate;
      }
    }
  }
  return turn;
}

}  // namespace interstice
