#include "surface/cloud.h"

#include <open3d/geometry/PointCloud.h>
#include <open3d/io/PointCloudIO.h>
#include <open3d/utility/Logging.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cmath>

#include "core/errors.h"
#include "core/files.h"

namespace interstice::surface {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// Height at a place of the map: bilinear over the known cells round it; NaN when fewer than three are known.
double height_at(const HeightField& field, const Vector2d& uv) {
  const Vector2d cell = field.grid.cell(uv);
  const int column = static_cast<int>(std::floor(cell.x())), row = static_cast<int>(std::floor(cell.y()));
  if (column < 0 || row < 0 || column + 1 >= field.grid.side() || row + 1 >= field.grid.side()) return NAN;
  double sum = 0, weight = 0;
  int known = 0;
  for (int j = 0; j < 2; ++j) {
    for (int i = 0; i < 2; ++i) {
      const double h = static_cast<double>(field.height.at<float>(row + j, column + i));
      if (!std::isfinite(h)) continue;
      const double w = std::abs(1 - i - (cell.x() - column)) * std::abs(1 - j - (cell.y() - row)) + 1e-6;
      sum += w * h;
      weight += w;
      ++known;
    }
  }
  return known >= 3 ? sum / weight : NAN;
}

constexpr std::size_t kPointBytes = 6 * sizeof(double) + 3;  // place, normal, colour

// The library writes to a named file and does not look whether all arrived. So it is given a file in memory,
// and the size of that is held against the number of points.
std::string ply_of(const open3d::geometry::PointCloud& cloud, const std::filesystem::path& path) {
  const int fd = ::memfd_create("cloud", MFD_CLOEXEC);
  if (fd < 0) throw core::InputError(path.string(), "cannot be written: no memory for it");
  const std::string name = "/proc/self/fd/" + std::to_string(fd);
  open3d::utility::SetVerbosityLevel(open3d::utility::VerbosityLevel::Error);
  std::string bytes;
  if (open3d::io::WritePointCloudToPLY(name, cloud,
                                       open3d::io::WritePointCloudOption(false, false, false, {}))) {
    bytes = core::read_file(name, std::uintmax_t{1} << 33);
  }
  ::close(fd);
  const std::size_t header = bytes.find("end_header\n");
  if (header == std::string::npos || bytes.size() != header + 11 + cloud.points_.size() * kPointBytes)
    throw core::InputError(path.string(), "cannot be written: no memory for it");
  return bytes;
}

}  // namespace

void write_cloud(const Surface& surface, const plan::Plan& plan, const std::filesystem::path& path) {
  open3d::geometry::PointCloud cloud;
  const MapGrid& grid = surface.ortho_grid;
  const double d = grid.step_mm;
  const auto lifted = [&](const Vector2d& uv) {
    return plan.profile.point(uv, height_at(surface.heights, uv));
  };
  for (int row = 0; row < grid.side(); ++row) {
    for (int column = 0; column < grid.side(); ++column) {
      const Vector2d uv = grid.uv(column, row);
      if (uv.norm() > plan.profile.length()) continue;
      const Vector3d p = lifted(uv);
      if (!p.allFinite()) continue;
      const Vector3d du = lifted(uv + Vector2d(d, 0)) - lifted(uv - Vector2d(d, 0));
      const Vector3d dv = lifted(uv + Vector2d(0, d)) - lifted(uv - Vector2d(0, d));
      const Vector3d across = du.cross(dv);
      const Vector3d up = plan.profile.normal(uv);
      const bool good = across.allFinite() && across.norm() > 1e-9 && across.dot(up) > 0;
      cloud.points_.push_back(p);
      cloud.normals_.push_back(good ? Vector3d(across.normalized()) : up);
      const cv::Vec3b& c = surface.ortho.at<cv::Vec3b>(row, column);
      cloud.colors_.emplace_back(c[2] / 255.0, c[1] / 255.0, c[0] / 255.0);
    }
  }
  core::write_new_file(path, ply_of(cloud, path));
}

}  // namespace interstice::surface
