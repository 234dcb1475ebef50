#include "surface/form_offset.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "plan/piece_model.h"

namespace interstice::surface {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kMargin_mm = 3.0;  // inside the planned outline: pieces are shifted by a millimetre or two
constexpr double kPrior_mm = 1.0;
constexpr double kNear_mm = 3.0;  // a cell belongs to a face or the bare form only if it lies this near
constexpr std::size_t kLeastCells = 30;
constexpr double kPieceSd_mm = 0.4;  // lift and tilt of single pieces
// Hot glue leaves a film under a piece (common practice, no source); what faces stand higher than the drawing
// by this is taken for glue, the rest for the form.
constexpr double kGlueFilm_mm = 0.2;

struct Difference {
  double rho, mm;
};

}  // namespace

std::vector<FaceCell> face_cells(const plan::Plan& plan, geometry::TileIndex tile, const MapGrid& grid,
                                 double margin_mm) {
  const plan::PieceFace face = plan::planned_face(plan, tile);
  const geometry::Polygon core = geometry::grown(face.outline, -margin_mm);
  Vector2d low(1e9, 1e9), high(-1e9, -1e9);
  for (const Vector2d& p : face.outline) {
    const Vector2d cell = grid.cell(plan.profile.locate(face.frame.lift(p)).uv);
    low = low.cwiseMin(cell);
    high = high.cwiseMax(cell);
  }
  std::vector<FaceCell> cells;
  for (int row = std::max(0, int(low.y())); row <= std::min(grid.side() - 1, int(high.y()) + 1); ++row) {
    for (int column = std::max(0, int(low.x())); column <= std::min(grid.side() - 1, int(high.x()) + 1);
         ++column) {
      const Vector2d uv = grid.uv(column, row);
      const Vector3d base = plan.profile.point(uv), up = plan.profile.normal(uv);
      const double along = up.dot(face.frame.normal);
      if (along < 0.3) continue;
      const double h = -face.frame.height(base) / along;
      if (geometry::contains(core, face.frame.drop(base + h * up))) cells.push_back({column, row, h});
    }
  }
  return cells;
}

std::vector<double> form_offsets(const HeightField& field, const plan::Plan& plan) {
  std::vector<Difference> differences;
  for (std::size_t t = 0; t < plan.tiles.size(); ++t) {
    std::vector<double> face, bare;
    for (const FaceCell& cell : face_cells(plan, geometry::TileIndex(t), field.grid, kMargin_mm)) {
      const double h = static_cast<double>(field.height.at<float>(cell.row, cell.column));
      if (std::abs(h - cell.planned_mm) < kNear_mm) face.push_back(h - cell.planned_mm);
      if (std::abs(h) < kNear_mm) bare.push_back(h);
    }
    const bool on_faces = face.size() >= bare.size();
    const std::vector<double>& which = on_faces ? face : bare;
    if (which.size() < kLeastCells) continue;
    differences.push_back({geometry::centroid(plan.tiles[geometry::TileIndex(t)].outline).norm(),
                           core::median(which) - (on_faces ? kGlueFilm_mm : 0.0)});
  }
  const double length = plan.profile.length();
  Vector3d x = Vector3d::Zero();
  for (int round = 0; round < 5; ++round) {
    Eigen::Matrix3d a = Eigen::Matrix3d::Identity() / (kPrior_mm * kPrior_mm);
    Vector3d b = Vector3d::Zero();
    for (const Difference& d : differences) {
      const double s = d.rho / length;
      const Vector3d row(1, s, s * s);
      const double r = std::abs(d.mm - row.dot(x));
      const double w = 1 / (kPieceSd_mm * kPieceSd_mm) / std::max(1.0, r / (1.5 * kPieceSd_mm));
      a += w * row * row.transpose();
      b += w * d.mm * row;
    }
    x = a.ldlt().solve(b);
  }
  std::vector<double> offsets;
  double rho = 0;
  for (std::size_t i = 0; i < plan.profile.points().size(); ++i) {
    if (i > 0) rho += (plan.profile.points()[i] - plan.profile.points()[i - 1]).norm();
    const double s = rho / length;
    offsets.push_back(Vector3d(1, s, s * s).dot(x));
  }
  return offsets;
}

}  // namespace interstice::surface
