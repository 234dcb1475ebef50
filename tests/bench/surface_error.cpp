#include "surface_error.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "core/files.h"
#include "core/json_reader.h"
#include "core/median.h"
#include "geometry/plane.h"
#include "geometry/polygon.h"

namespace interstice::baseline {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kBrokenArris_mm = 0.3;  // as the test scans are rendered
constexpr double kDrawnIn_mm = 1.0;

Vector3d vector_of(const nlohmann::json& numbers) {
  return {numbers.at(0).get<double>(), numbers.at(1).get<double>(), numbers.at(2).get<double>()};
}

Eigen::Isometry3d by_positions(const nlohmann::json& cameras, const Scan& scan) {
  Eigen::Matrix3Xd ours(3, static_cast<Eigen::Index>(scan.photos.size())), theirs = ours;
  Eigen::Index n = 0;
  for (const ScannedPhoto& photo : scan.photos) {
    for (const auto& camera : cameras) {
      if (camera.at("name").get<std::string>() != photo.info.name) continue;
      Eigen::Matrix3d r;
      for (int i = 0; i < 3; ++i) r.row(i) = vector_of(camera.at("R").at(static_cast<std::size_t>(i)));
      ours.col(n) = photo.centre();
      theirs.col(n++) = -r.transpose() * vector_of(camera.at("t"));
    }
  }
  Eigen::Isometry3d t;
  t.matrix() = Eigen::umeyama(ours.leftCols(n), theirs.leftCols(n), false);
  return t;
}

}  // namespace

Truth read_truth(const std::filesystem::path& path, const Scan& scan) {
  const nlohmann::json doc = core::parse_json(core::read_file(path), path.string());
  Truth truth;
  for (const auto& tile : doc.at("tiles")) {
    if (!tile.at("placed").get<bool>()) continue;
    std::vector<Vector3d> outer;
    for (const auto& p : tile.at("outer")) outer.push_back(vector_of(p));
    Vector3d middle = Vector3d::Zero();
    for (const Vector3d& p : outer) middle += p / static_cast<double>(outer.size());
    const Vector3d normal = vector_of(tile.at("normal")).normalized();
    const geometry::PlaneFrame frame = geometry::make_plane_frame(middle, normal, outer.front() - middle);
    geometry::Polygon outline;
    for (const Vector3d& p : outer) outline.push_back(frame.drop(p));
    truth.faces.push_back({middle + kBrokenArris_mm * normal, frame.ex, frame.ey, normal,
                           geometry::grown(geometry::resampled(outline, 1.0), -kDrawnIn_mm)});
  }
  truth.truth_T_bowl = by_positions(doc.at("cameras"), scan);
  return truth;
}

SurfaceError error_of(const std::vector<Vector3d>& cloud, const Truth& truth, double reach_mm) {
  SurfaceError e;
  std::vector<double> sizes;
  double squares = 0, sum = 0, third = 0;
  std::vector<std::set<std::pair<int, int>>> filled(truth.faces.size());  // by square millimetres
  for (const Vector3d& bowl : cloud) {
    const Vector3d p = truth.truth_T_bowl * bowl;
    for (std::size_t f = 0; f < truth.faces.size(); ++f) {
      const TrueFace& face = truth.faces[f];
      const Vector3d d = p - face.origin;
      const double off = d.dot(face.normal);
      if (std::abs(off) > reach_mm || d.squaredNorm() > 1e4) continue;
      const Vector2d at(d.dot(face.ex), d.dot(face.ey));
      if (!geometry::contains(face.outline, at)) continue;
      sizes.push_back(std::abs(off));
      squares += off * off;
      sum += off;
      third += std::abs(off) < 0.3 ? 1 : 0;
      filled[f].insert({static_cast<int>(std::floor(at.x())), static_cast<int>(std::floor(at.y()))});
      break;
    }
  }
  e.points = sizes.size();
  double cells = 0;
  for (const TrueFace& face : truth.faces) e.face_area_cm2 += geometry::signed_area(face.outline) / 100;
  for (const auto& f : filled) cells += static_cast<double>(f.size());
  e.covered = std::min(1.0, cells / (100 * e.face_area_cm2));
  if (sizes.empty()) return e;
  const auto n = static_cast<double>(sizes.size());
  e.rms_mm = std::sqrt(squares / n);
  e.bias_mm = sum / n;
  e.within_third = third / n;
  e.median_mm = core::median(sizes);
  return e;
}

}  // namespace interstice::baseline
