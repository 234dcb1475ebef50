#include "edges/edge_profiles.h"

#include <algorithm>
#include <cmath>

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

bool hidden_edge(const Occluders& pieces, const Surroundings& around, const Vector3d& at,
                 const Vector3d& outward, const Vector3d& camera) {
  for (const double x : {0.0, -around.reach_mm, around.reach_mm}) {
    if (pieces.hidden(at + x * outward, camera, around.self, around.level_mm)) return true;
  }
  return false;
}

}  // namespace

std::vector<OutlineView> views_of_point(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::PlaneFrame& frame, const Vector2d& p, const Vector2d& normal, double least_cosine,
    const Surroundings& around) {
  std::vector<OutlineView> out;
  const Vector3d at = frame.lift(p);
  const Vector3d outward = normal.x() * frame.ex + normal.y() * frame.ey;
  const Vector3d along = -normal.y() * frame.ex + normal.x() * frame.ey;
  constexpr double kStep_mm = 0.5;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    const Vector3d direction = (photo.centre() - at).normalized();
    OutlineView view;
    view.photo = geometry::PhotoIndex(i);
    view.cosine = direction.dot(frame.normal);
    if (view.cosine < least_cosine) continue;
    if (around.pieces != nullptr && hidden_edge(*around.pieces, around, at, outward, photo.centre()))
      continue;
    const Vector2d pixel = photo.project(at);
    if (!photo.lens.in_frame(pixel, 8)) continue;
    const surface::Picture& picture = pictures[view.photo];
    view.slope = direction.dot(outward) / view.cosine;
    view.at = picture.from_photo(pixel);
    const auto derivative = [&](const Vector3d& d) -> Vector2d {
      return (photo.project(at + kStep_mm * d) - photo.project(at - kStep_mm * d)) /
             (2 * kStep_mm * picture.factor);
    };
    view.per_mm_normal = derivative(outward);
    view.per_mm_tangent = derivative(along);
    view.px_per_mm = view.per_mm_normal.norm();
    if (view.per_mm_normal.allFinite() && view.per_mm_tangent.allFinite()) out.push_back(view);
  }
  return out;
}

void read_profile(const surface::Picture& picture, const OutlineView& view, double first_mm, double step_mm,
                  double across_mm, std::vector<float>& values) {
  const int rows = std::max(1, static_cast<int>(std::lround(across_mm * view.per_mm_tangent.norm())));
  for (std::size_t k = 0; k < values.size(); ++k) {
    const Vector2d middle = view.at + (first_mm + static_cast<double>(k) * step_mm) * view.per_mm_normal;
    float sum = 0;
    for (int r = 0; r < rows; ++r) {
      const double y = across_mm * ((r + 0.5) / rows - 0.5);
      const Vector2d q = middle + y * view.per_mm_tangent;
      sum += surface::sample(picture.grey, q.x(), q.y());
    }
    values[k] = sum / static_cast<float>(rows);
  }
}

void read_colour_profile(const surface::Picture& picture, const OutlineView& view, double first_mm,
                         double step_mm, double across_mm, std::size_t count, ColourProfile& values) {
  const int rows = std::max(1, static_cast<int>(std::lround(across_mm * view.per_mm_tangent.norm())));
  for (std::vector<float>& v : values) v.resize(count);
  for (std::size_t k = 0; k < count; ++k) {
    const Vector2d middle = view.at + (first_mm + static_cast<double>(k) * step_mm) * view.per_mm_normal;
    cv::Vec3f sum(0, 0, 0);
    for (int r = 0; r < rows; ++r) {
      const double y = across_mm * ((r + 0.5) / rows - 0.5);
      const Vector2d q = middle + y * view.per_mm_tangent;
      sum += surface::sample_colour(picture.colour, q.x(), q.y());
    }
    const float blue = sum[0] / static_cast<float>(rows), green = sum[1] / static_cast<float>(rows),
                red = sum[2] / static_cast<float>(rows);
    values[0][k] = 0.299f * red + 0.587f * green + 0.114f * blue;
    values[1][k] = red - green;
    values[2][k] = (red + green) / 2 - blue;
  }
}

}  // namespace interstice::edges
