#include "plan/piece_model.h"

#include <cmath>
#include <numbers>

namespace interstice::plan {

PieceFace planned_face(const Plan& plan, geometry::TileIndex tile) {
  const geometry::Polygon& footprint = plan.tiles[tile].outline;
  const Eigen::Vector2d centre = geometry::centroid(footprint);
  PieceFace face;
  face.frame = geometry::make_plane_frame(plan.profile.point(centre, plan.tile_thickness_mm),
                                          plan.profile.normal(centre), plan.profile.along_ring(centre));
  geometry::Polygon root;
  for (const Eigen::Vector2d& uv : footprint) root.push_back(face.frame.drop(plan.profile.point(uv)));
  const double growth = plan.tile_thickness_mm * std::tan(plan.bevel_deg * std::numbers::pi / 180.0);
  face.outline = geometry::grown(geometry::resampled(root, 0.5), growth);
  return face;
}

}  // namespace interstice::plan
