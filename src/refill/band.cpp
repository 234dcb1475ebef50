#include "refill/band.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"

namespace interstice::refill {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kUnseenSd_mm = 0.5;  // of an outline nobody saw, at least
constexpr double kTop_mm = 3.0;  // below the tape: here the shell must be open for a cell to be of the band

channels::VoidGridOptions grid_options(int threads) {
  channels::VoidGridOptions options;
  options.threads = threads;
  return options;
}

}  // namespace

Band::Band(const channels::ShellSolids& shell, const seams::FitDocument& dry, int threads)
    : dry_(dry), shell_(shell), grid_of_void_(shell, grid_options(threads)), fields_(shell.pieces.size()) {
  core::parallel_for(shell_.pieces.size(), threads, [&](std::size_t i) {
    if (!shell_.pieces[i]) return;
    fields_[i] =
        std::make_unique<channels::PieceField>(*shell_.pieces[i], shell_.form, shell_.face_above_mm[i]);
  });
  const double ratio = grid_of_void_.step_mm() / kStep_mm;
  const int side = static_cast<int>(std::lround(static_cast<double>(grid_of_void_.side() - 1) * ratio)) + 1;
  std::vector<std::vector<BandCell>> rows(static_cast<std::size_t>(side));
  core::parallel_for(rows.size(), threads,
                     [&](std::size_t row) { fill_row(static_cast<int>(row), rows[row]); });
  grid_ = cv::Mat(side, side, CV_32S, cv::Scalar(-1));
  for (const std::vector<BandCell>& row : rows) {
    for (const BandCell& cell : row) {
      grid_.at<int>(cell.row, cell.column) = static_cast<int>(cells_.size());
      cells_.push_back(cell);
    }
  }
  measure_ends();
}

// What is neither band nor under a piece lies outside the shell.
void Band::measure_ends() {
  cv::Mat outside(grid_.size(), CV_8U, cv::Scalar(0));
  const double ratio = kStep_mm / grid_of_void_.step_mm();
  for (int row = 0; row < grid_.rows; ++row) {
    for (int column = 0; column < grid_.cols; ++column) {
      if (grid_.at<int>(row, column) >= 0) continue;
      const auto i = static_cast<std::size_t>(std::lround(column * ratio));
      const auto j = static_cast<std::size_t>(std::lround(row * ratio));
      const channels::VoidGrid::Column& c = grid_of_void_.column(i, j);
      // Cells half wood lie up to a step outside an outline.
      if (!c.in_arris &&
          !(c.near_piece && static_cast<double>(c.d1) < 2 * grid_of_void_.step_mm() && open_near_top(i, j)))
        outside.at<uchar>(row, column) = 255;
    }
  }
  cv::Mat distance;
  cv::distanceTransform(255 - outside, distance, cv::DIST_L2, cv::DIST_MASK_PRECISE);
  for (BandCell& cell : cells_)
    cell.to_end_mm = kStep_mm * static_cast<double>(distance.at<float>(cell.row, cell.column));
}

bool Band::open_near_top(std::size_t i, std::size_t j) const {
  const channels::VoidGrid& g = grid_of_void_;
  const double tape = static_cast<double>(g.column(i, j).tape_mm);
  for (std::size_t k = 0; k < g.layers(); ++k) {
    const double low = static_cast<double>(k) * channels::VoidGrid::kLayer_mm;
    if (low + channels::VoidGrid::kLayer_mm > tape - kTop_mm && low < tape && g.void_fraction(i, j, k) > 0)
      return true;
  }
  return false;
}

double Band::outline_sd(std::size_t piece, const Vector3d& at) const {
  const seams::FitTile& tile = dry_.tiles[piece];
  if (tile.arris_sd_mm.size() != tile.arris.size() || tile.arris.empty()) return kUnseenSd_mm;
  std::size_t nearest = 0;
  double distance = 1e18;
  for (std::size_t i = 0; i < tile.arris.size(); ++i) {
    const double d = (tile.arris[i] - at).squaredNorm();
    if (d < distance) distance = d, nearest = i;
  }
  const double sd = tile.arris_sd_mm[nearest];
  return sd < 0 ? std::max(kUnseenSd_mm, -sd) : sd;
}

double Band::void_depth(std::size_t i, std::size_t j) const {
  double depth = 0;
  for (std::size_t k = 0; k < grid_of_void_.layers(); ++k)
    depth += grid_of_void_.void_fraction(i, j, k) * channels::VoidGrid::kLayer_mm;
  return depth;
}

// The pieces whose outlines are in reach, nearest first, with the heights their faces carry on to.
std::vector<Band::Beside> Band::pieces_beside(const std::vector<std::size_t>& near, const Vector3d& base,
                                              const Vector3d& normal) const {
  std::vector<Beside> beside;
  for (const std::size_t p : near) {
    const channels::PieceField& field = *fields_[p];
    const double lean = normal.dot(field.face().normal);
    if (lean < 0.2) continue;
    const double h = -field.face().height(base) / lean;
    const auto r = field.read(field.face().drop(base + h * normal));
    if (r.outside_mm >= channels::PieceField::kReach_mm) continue;
    beside.push_back(
        {p, r.outside_mm, (r.outside_mm <= 0 ? h : r.arris_height_mm) + field.face_above_mm() / lean});
  }
  std::sort(beside.begin(), beside.end(), [](const Beside& a, const Beside& b) {
    return a.outside_mm != b.outside_mm ? a.outside_mm < b.outside_mm : a.piece < b.piece;
  });
  return beside;
}

void Band::fill_row(int row, std::vector<BandCell>& out) const {
  const channels::VoidGrid& g = grid_of_void_;
  const Vector2d corner = g.map_at(0, 0);
  const int side =
      static_cast<int>(std::lround(static_cast<double>(g.side() - 1) * g.step_mm() / kStep_mm)) + 1;
  for (int column = 0; column < side; ++column) {
    const Vector2d uv = corner + kStep_mm * Vector2d(column, row);
    const double x = column * kStep_mm / g.step_mm(), y = row * kStep_mm / g.step_mm();
    const auto i0 = static_cast<std::size_t>(x), j0 = static_cast<std::size_t>(y);
    const std::size_t i1 = std::min(i0 + 1, g.side() - 1), j1 = std::min(j0 + 1, g.side() - 1);
    std::vector<std::size_t> near;
    bool open = false;
    double depth = 0;
    for (const auto& [i, j] :
         {std::array{i0, j0}, std::array{i1, j0}, std::array{i0, j1}, std::array{i1, j1}}) {
      const channels::VoidGrid::Column& c = g.column(i, j);
      if (!c.near_piece) continue;
      for (const std::uint16_t p : {c.first, c.second, c.third}) {
        if (p != channels::VoidGrid::kNone && std::find(near.begin(), near.end(), p) == near.end())
          near.push_back(p);
      }
      open = open || open_near_top(i, j);
      depth = std::max(depth, void_depth(i, j));
    }
    if (!open || near.size() < 2) continue;
    Vector3d base, normal;
    g.base(uv, base, normal);
    const std::vector<Beside> beside = pieces_beside(near, base, normal);
    if (beside.size() < 2) continue;
    const Vector2d s = g.scale(uv.norm(), beside[0].height_mm);
    const double cell_mm = kStep_mm * std::sqrt(s.x() * s.y());
    const double part = std::clamp(0.5 + beside[0].outside_mm / cell_mm, 0.0, 1.0);
    if (part < 0.5) continue;
    double sum = 0, weights = 0;
    for (const Beside& b : beside) {
      const double w = 1 / std::max(1e-3, b.outside_mm);
      sum += w * b.height_mm;
      weights += w;
    }
    BandCell cell;
    cell.column = column;
    cell.row = row;
    cell.map = uv;
    cell.normal = normal;
    cell.at = base + sum / weights * normal;
    cell.area_mm2 = s.x() * s.y() * kStep_mm * kStep_mm;
    const Vector2d below = g.scale(uv.norm(), beside[0].height_mm - 1);
    cell.narrows_per_mm = 1 - below.prod() / s.prod();
    cell.void_depth_mm = depth;
    cell.first = geometry::TileIndex(beside[0].piece);
    cell.second = geometry::TileIndex(beside[1].piece);
    cell.first_mm = beside[0].outside_mm;
    cell.second_mm = beside[1].outside_mm;
    cell.first_sd_mm = outline_sd(beside[0].piece, cell.at);
    cell.second_sd_mm = outline_sd(beside[1].piece, cell.at);
    out.push_back(cell);
  }
}

}  // namespace interstice::refill
