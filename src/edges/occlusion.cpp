#include "edges/occlusion.h"

#include <algorithm>

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

void Occluders::add(const geometry::PlaneFrame& face, const geometry::Polygon& outline, double margin_mm) {
  Face f{face, geometry::grown(outline, margin_mm), geometry::centroid(outline), 0};
  for (const Vector2d& p : f.outline) f.radius = std::max(f.radius, (p - f.middle).norm());
  faces_.push_back(std::move(f));
}

bool Occluders::hidden(const Vector3d& place, const Vector3d& camera, std::size_t self,
                       double level_mm) const {
  for (std::size_t i = 0; i < faces_.size(); ++i) {
    const Face& f = faces_[i];
    if (i == self || f.radius < 0) continue;
    const double below = f.frame.height(place), above = f.frame.height(camera);
    if (below >= -level_mm || above <= 0) continue;
    const Vector2d leaves = f.frame.drop(place + below / (below - above) * (camera - place));
    if ((leaves - f.middle).norm() < f.radius && geometry::contains(f.outline, leaves)) return true;
  }
  return false;
}

}  // namespace interstice::edges
