#include "edges/face_above.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "geometry/polygon.h"

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// Cells nearer to the outline share patches (3 mm) and pooling (3 mm) with the seam.
constexpr double kDenseMargin_mm = 3.5;
// Neighbouring cells of a millimetre share about ten cells' worth of picture: three independent places.
constexpr std::size_t kLeastCells = 30;
constexpr double kDeepestShare = 0.1;  // of the stock's thickness

}  // namespace

std::optional<double> face_above_arris(const surface::HeightField& field, const plan::Plan& plan,
                                       const geometry::PlaneFrame& arris_plane,
                                       const geometry::Polygon& outline) {
  const geometry::Polygon core = geometry::grown(outline, -kDenseMargin_mm);
  Vector2d low(1e9, 1e9), high(-1e9, -1e9);
  for (const Vector2d& p : outline) {
    const Vector2d cell = field.grid.cell(plan.profile.locate(arris_plane.lift(p)).uv);
    low = low.cwiseMin(cell);
    high = high.cwiseMax(cell);
  }
  const int last = field.grid.side() - 1;
  const double far = plan.tile_thickness_mm / 3;  // as when the face was found: not on this face
  std::vector<double> above;
  for (int row = std::max(0, int(low.y())); row <= std::min(last, int(high.y()) + 1); ++row) {
    for (int column = std::max(0, int(low.x())); column <= std::min(last, int(high.x()) + 1); ++column) {
      const auto height = static_cast<double>(field.height.at<float>(row, column));
      if (!std::isfinite(height)) continue;
      const Vector3d p = plan.profile.point(field.grid.uv(column, row), height);
      const double z = arris_plane.height(p);
      if (std::abs(z) < far && geometry::contains(core, arris_plane.drop(p))) above.push_back(z);
    }
  }
  if (above.size() < kLeastCells) return std::nullopt;
  return std::clamp(core::median(std::move(above)), 0.0, kDeepestShare * plan.tile_thickness_mm);
}

std::vector<double> with_median_for_unknown(const std::vector<std::optional<double>>& found) {
  std::vector<double> known;
  for (const auto& x : found) {
    if (x) known.push_back(*x);
  }
  const double usual = known.empty() ? 0.0 : core::median(known);
  std::vector<double> out;
  for (const auto& x : found) out.push_back(x.value_or(usual));
  return out;
}

}  // namespace interstice::edges
