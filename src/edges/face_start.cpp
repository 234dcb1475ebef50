#include "edges/face_start.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "edges/find_corner.h"
#include "plan/piece_model.h"
#include "surface/form_offset.h"

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kStartMargin_mm = 2.5;
// So far inside a face no patch reaches its corner: half a patch, a millimetre of the corner's strip, and one by which
// the piece may lie off the plan. A round face is told by its edge, where the patches of a plane's own do less harm.
constexpr double kShapeMargin_mm = 4.0;
constexpr double kLeastKnown = 0.08;   // share of cells; below, nothing is said
constexpr double kHeightSd_mm = 0.25;  // of one cell's height
constexpr double kPooling = 4.0;  // neighbouring cells share their patches: fewer of them are independent
// A third of the reach: a face known less well is not known to be where its edges are looked for.
constexpr double kLeastKnown_mm = kCornerReach_mm / 3;
constexpr double kHeightBias_mm = 0.03, kTiltBias = 0.0015;  // of dense heights as a whole

// Robust standard deviation of the heights about the plane.
double spread(const std::vector<Vector3d>& points, const geometry::PlaneFrame& planned, const Vector3d& x) {
  std::vector<double> sizes;
  for (const Vector3d& p : points) {
    const Vector2d q = planned.drop(p);
    sizes.push_back(std::abs(planned.height(p) - Vector3d(1, q.x(), q.y()).dot(x)));
  }
  return core::robust_sd(std::move(sizes));
}

// Heights that are the face's, as points.
std::vector<Vector3d> points_on_face(const surface::HeightField& field, const plan::Plan& plan,
                                     const std::vector<surface::FaceCell>& cells, double limit_mm) {
  std::vector<Vector3d> out;
  for (const surface::FaceCell& cell : cells) {
    const double h = static_cast<double>(field.height.at<float>(cell.row, cell.column));
    if (std::isfinite(h) && std::abs(h - cell.planned_mm) < limit_mm)
      out.push_back(plan.profile.point(field.grid.uv(cell.column, cell.row), h));
  }
  return out;
}

// Robust plane z = a + b x + c y over the planned face's axes.
void fit_to_heights(const std::vector<Vector3d>& points, FaceStart& start) {
  const geometry::PlaneFrame planned = start.frame;
  Eigen::Matrix3d inverse = Eigen::Matrix3d::Zero();
  Vector3d x = Vector3d::Zero();
  for (int round = 0; round < 8; ++round) {
    // Lift and tilt are held near the plan: 1.5 mm, and 3 degrees of tilt.
    Eigen::Matrix3d a = Vector3d(1 / 2.25, 1 / 0.0025, 1 / 0.0025).asDiagonal();
    Vector3d b = Vector3d::Zero();
    for (const Vector3d& p : points) {
      const Vector2d q = planned.drop(p);
      const Vector3d row(1, q.x(), q.y());
      const double z = planned.height(p);
      const double r = std::abs(z - row.dot(x)) / kHeightSd_mm;
      const double w = 1 / (kHeightSd_mm * kHeightSd_mm) / (1 + r * r);
      a += w * row * row.transpose();
      b += w * z * row;
    }
    inverse = a.inverse();
    x = inverse * b;
  }
  const double scale = kPooling * spread(points, planned, x) / kHeightSd_mm;
  start.height_sd_mm = std::hypot(scale * std::sqrt(inverse(0, 0)), kHeightBias_mm);
  start.tilt_sd = std::hypot(scale * std::sqrt(std::max(inverse(1, 1), inverse(2, 2))), kTiltBias);
  const Vector3d normal = planned.normal - x[1] * planned.ex - x[2] * planned.ey;
  start.frame = geometry::make_plane_frame(planned.origin + x[0] * planned.normal, normal, planned.ex);
}

}  // namespace

FaceStart start_face(const surface::HeightField& field, const plan::Plan& plan, geometry::TileIndex tile) {
  FaceStart start;
  start.frame = plan::planned_face(plan, tile).frame;
  start.shape = {start.frame};
  const std::vector<surface::FaceCell> cells = surface::face_cells(plan, tile, field.grid, kStartMargin_mm);
  const double limit = std::min(3.5, plan.tile_thickness_mm / 3);
  const std::vector<Vector3d> on_face = points_on_face(field, plan, cells, limit);
  std::size_t known = 0, bare = 0;
  for (const surface::FaceCell& cell : cells) {
    const double h = static_cast<double>(field.height.at<float>(cell.row, cell.column));
    if (!std::isfinite(h)) continue;
    ++known;
    if (!(std::abs(h - cell.planned_mm) < limit) && h < limit) ++bare;
  }
  if (cells.empty() || known == 0) return start;
  start.known = static_cast<double>(known) / static_cast<double>(cells.size());
  start.near_face = static_cast<double>(on_face.size()) / static_cast<double>(known);
  if (start.known < kLeastKnown) return start;
  if (on_face.size() >= 3 && on_face.size() > bare && start.near_face > 0.3) {
    fit_to_heights(on_face, start);
    const std::vector<Vector3d> inner =
        points_on_face(field, plan, surface::face_cells(plan, tile, field.grid, kShapeMargin_mm), limit);
    const double cell_sd = kPooling * spread(inner, start.frame, Vector3d::Zero());
    start.shape = face_shape(start.frame, inner, cell_sd);
    const double half =
        std::sqrt(std::abs(geometry::signed_area(plan::planned_face(plan, tile).outline))) / 2;
    if (std::hypot(start.height_sd_mm, half * start.tilt_sd) < kLeastKnown_mm)
      start.state = plan::TileState::placed;
  } else if (2 * bare > cells.size()) {  // where little is seen, nothing is said to be missing
    start.state = plan::TileState::absent;
  }
  return start;
}

}  // namespace interstice::edges
