#include "refill/shell_turn.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/errors.h"
#include "scan/few_photos.h"
#include "surface/surface.h"

namespace interstice::refill {
namespace {

constexpr double kGrid_mm = 1.0;
// Of each way of finding them: a pattern repeats at most as often as pieces stand in a ring, and seldom well.
constexpr std::size_t kMostTurns = 6;
constexpr std::size_t kMostPieces = 24;  // looked for: enough that chance agrees on few of them
constexpr double kSame = 0.02;           // rad: within the far search of where a piece lies

std::vector<double> turns_to_try(const scan::Scan& scan, const Pictures& pictures, const DryShell& dry,
                                 const plan::Plan& plan, int threads) {
  const surface::MapGrid grid = surface::MapGrid::covering(plan.profile.length() + 2, kGrid_mm);
  const cv::Mat now = surface::faces_on_map(scan, pictures, plan, grid, threads);
  const std::vector<geometry::Polygon> outlines = measured_on_map(dry.fit, plan.profile);
  const std::vector<double> by_outlines = surface::likely_turns(now, grid, outlines, kMostTurns, threads);
  std::vector<double> by_wood;
  if (dry.picture)
    by_wood = surface::alike_turns(now, on_grid(*dry.picture, grid), grid, outlines, kMostTurns, threads);
  std::vector<double> out;
  for (std::size_t k = 0; k < kMostTurns; ++k) {  // the best of each first
    for (const auto* turns : std::array<const std::vector<double>*, 2>{&by_wood, &by_outlines}) {
      if (k >= turns->size()) continue;
      const double turn = (*turns)[k];
      const bool known = std::any_of(out.begin(), out.end(), [&](double t) {
        return std::abs(std::remainder(t - turn, 2 * std::numbers::pi)) < kSame;
      });
      if (!known) out.push_back(turn);
    }
  }
  return out;
}

}  // namespace

std::vector<geometry::Polygon> measured_on_map(const seams::FitDocument& fit,
                                               const geometry::Profile& profile) {
  std::vector<geometry::Polygon> out(fit.tiles.size());
  for (std::size_t t = 0; t < fit.tiles.size(); ++t) {
    if (fit.tiles[t].state != plan::TileState::placed) continue;
    for (const Eigen::Vector3d& p : fit.tiles[t].arris) out[t].push_back(profile.locate(p).uv);
  }
  return out;
}

cv::Mat on_grid(const surface::MapPicture& picture, const surface::MapGrid& grid) {
  cv::Mat any, weight, sum;
  cv::cvtColor(picture.colour, any, cv::COLOR_BGR2GRAY);
  cv::Mat(any > 0).convertTo(weight, CV_32F, 1.0 / 255);
  picture.colour.convertTo(sum, CV_32FC3);
  const int k = 2 * static_cast<int>(std::lround(grid.step_mm / picture.grid.step_mm / 2)) + 1;
  cv::blur(sum, sum, {k, k});
  cv::blur(weight, weight, {k, k});
  cv::Mat out(grid.side(), grid.side(), CV_32FC3, cv::Scalar::all(NAN));
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const Eigen::Vector2d cell = picture.grid.cell(grid.uv(column, row));
      const auto c = static_cast<int>(std::lround(cell.x())), r = static_cast<int>(std::lround(cell.y()));
      if (c < 0 || r < 0 || c >= sum.cols || r >= sum.rows || weight.at<float>(r, c) < 0.5f) continue;
      out.at<cv::Vec3f>(row, column) = sum.at<cv::Vec3f>(r, c) / weight.at<float>(r, c);
    }
  }
  return out;
}

double find_shell_turn(const scan::Scan& scan, const DryShell& dry, const plan::Plan& plan, int threads) {
  const Pictures pictures = surface::read_pictures(scan, surface::kMapFootprint_mm, true, threads);
  double best = 0;
  std::size_t most = 0;
  for (const double turn : turns_to_try(scan, pictures, dry, plan, threads)) {
    const auto look = first_look(scan::turned(scan, turn), pictures, dry.fit, kMostPieces, threads);
    if (!look || !found_again(*look) || look->agreeing <= most) continue;
    // What the pieces say is finer than the turn they were looked for at.
    const Eigen::Matrix3d r = look->now_T_dry.rotation();
    best = turn + std::atan2(r(1, 0), r(0, 0));
    most = look->agreeing;
    if (most == look->pieces) break;
  }
  if (most == 0)
    throw core::MeasureError(scan::few_photos_or(scan.photos.size(),
                                                 "the pieces were not found where the earlier result has "
                                                 "them: give the photos and the result of the same "
                                                 "shell, and photograph it from all round, also from above"));
  return best;
}

}  // namespace interstice::refill
