// Photos of a bare textured form of any meridian, out of round or bumpy as wished, made ray by ray.
#pragma once

#include <cmath>
#include <cstdint>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

#include "core/parallel.h"
#include "scan/scan.h"
#include "surface/pictures.h"

namespace interstice::form_scene {

using Eigen::Vector2d;
using Eigen::Vector3d;

// Height over the profile along its normal, by place on the map.
using Relief = std::function<double(const Vector2d& uv)>;

struct FormPhotos {
  geometry::Profile profile;
  scan::Scan scan;
  geometry::IndexedVector<geometry::PhotoIndex, surface::Picture> pictures;
  std::vector<Vector3d> points;  // on it, as matched neighbours give them: noisy, some mistaken
};

// The meridian through corners of a curve r(s), z(s), s from 0 (pole) to 1 (rim).
inline geometry::Profile profile_of(const std::function<Vector2d(double)>& curve, int steps = 60) {
  std::vector<Vector2d> rz;
  for (int i = 0; i <= steps; ++i) rz.push_back(curve(static_cast<double>(i) / steps));
  rz.front().x() = 0;
  rz.back().y() = 0;
  return geometry::Profile(rz);
}

inline double hashed(std::int64_t x, std::int64_t y, std::int64_t z) {
  std::uint64_t h = static_cast<std::uint64_t>(x) * 0x9e3779b97f4a7c15u ^
                    static_cast<std::uint64_t>(y) * 0xc2b2ae3d27d4eb4fu ^
                    static_cast<std::uint64_t>(z) * 0x165667b19e3779f9u;
  h ^= h >> 31;
  h *= 0xbf58476d1ce4e5b9u;
  h ^= h >> 27;
  return static_cast<double>(h >> 40) / static_cast<double>(1 << 24);
}

// Smooth noise, 0 to 1, changing over about a unit.
inline double noise(const Vector3d& p) {
  const Vector3d f = p.array().floor(), t = p - f, e = t.array() * t.array() * (3 - 2 * t.array());
  double sum = 0;
  for (int k = 0; k < 8; ++k) {
    const int i = k & 1, j = k >> 1 & 1, l = k >> 2;
    const double w = (i ? e.x() : 1 - e.x()) * (j ? e.y() : 1 - e.y()) * (l ? e.z() : 1 - e.z());
    sum += w * hashed(static_cast<std::int64_t>(f.x()) + i, static_cast<std::int64_t>(f.y()) + j,
                      static_cast<std::int64_t>(f.z()) + l);
  }
  return sum;
}

struct SceneOptions {
  double contrast = 1;      // of the texture; 0: a plain white form
  double highest_deg = 85;  // of the photos' elevations; lower: nobody looked from above
};

inline scan::ScannedPhoto photo_from(double azimuth, double elevation, double distance, double aim_z) {
  scan::ScannedPhoto photo;
  photo.lens.width = 480, photo.lens.height = 360;
  photo.lens.fx = photo.lens.fy = 640;
  photo.lens.cx = 239.5, photo.lens.cy = 179.5;
  const Vector3d out(std::cos(elevation) * std::cos(azimuth), std::cos(elevation) * std::sin(azimuth),
                     std::sin(elevation));
  const Vector3d z = -out, x = Vector3d(-std::sin(azimuth), std::cos(azimuth), 0), y = z.cross(x);
  Eigen::Matrix3d r;
  r.row(0) = x, r.row(1) = y, r.row(2) = z;
  photo.camera_T_bowl.linear() = r;
  photo.camera_T_bowl.translation() = -r * (Vector3d(0, 0, aim_z) + distance * out);
  return photo;
}

// The first place along a ray on the form, by steps of the distance to it; NaN where it misses.
inline Vector3d hit(const geometry::Profile& profile, const Relief& relief, const Vector3d& origin,
                    const Vector3d& ray, double bound, double top) {
  const Vector3d middle(0, 0, top / 2);
  const double along = (middle - origin).dot(ray), miss = (origin + along * ray - middle).norm();
  if (miss > bound) return Vector3d::Constant(NAN);
  const double half = std::sqrt(bound * bound - miss * miss);
  double s = along - half;
  for (int k = 0; k < 60 && s < along + half; ++k) {
    const Vector3d p = origin + s * ray;
    if (p.z() < 0) break;
    const geometry::MapPoint at = profile.locate(p);
    const double d = at.height - relief(at.uv);
    if (d < 0.005) return p;
    s += 0.95 * d;
  }
  return Vector3d::Constant(NAN);
}

inline FormPhotos photograph(const geometry::Profile& profile, const Relief& relief,
                             const SceneOptions& options = {}) {
  FormPhotos out;
  out.profile = profile;
  double reach = 0;
  const double top = profile.points().front().y();
  for (const Vector2d& p : profile.points()) reach = std::max(reach, p.x());
  const double bound = std::hypot(reach + 3, top / 2 + 3), distance = 2.1 * bound * 640 / 360;
  const double deg = std::numbers::pi / 180;
  for (int k = 0; k < 9; ++k)
    out.scan.photos.push_back(
        photo_from(40 * k * deg, std::min(22.0, options.highest_deg) * deg, distance, top / 2));
  for (int k = 0; k < 6; ++k) {
    const double elevation = std::min(52.0, options.highest_deg);
    out.scan.photos.push_back(photo_from((60 * k + 17) * deg, elevation * deg, distance, top / 2));
  }
  if (options.highest_deg > 80) {
    for (int k = 0; k < 3; ++k)
      out.scan.photos.push_back(photo_from((120 * k + 40) * deg, 78 * deg, distance, top / 2));
  }
  out.scan.quality.pixel_footprint_mm = distance / 640;
  out.scan.quality.photos_given = static_cast<int>(out.scan.photos.size());
  for (std::size_t i = 0; i < out.scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = out.scan.photos[geometry::PhotoIndex(i)];
    const Eigen::Isometry3d bowl_T_camera = photo.camera_T_bowl.inverse();
    surface::Picture picture;
    picture.grey = cv::Mat(photo.lens.height, photo.lens.width, CV_8U);
    core::parallel_for(static_cast<std::size_t>(photo.lens.height), 2, [&](std::size_t row) {
      std::mt19937 random(static_cast<unsigned>(1000 * i + row));
      std::normal_distribution<double> grain(0, 1.5);
      for (int column = 0; column < photo.lens.width; ++column) {
        const Vector3d ray =
            (bowl_T_camera.linear() * Vector3d((column - photo.lens.cx) / photo.lens.fx,
                                               (static_cast<double>(row) - photo.lens.cy) / photo.lens.fy, 1))
                .normalized();
        const Vector3d p = hit(profile, relief, photo.centre(), ray, bound, top);
        double grey = 60;
        if (p.allFinite()) grey = 180 + options.contrast * (70 * noise(p / 2.5) + 60 * noise(p / 6) - 90);
        picture.grey.at<uchar>(static_cast<int>(row), column) =
            cv::saturate_cast<uchar>(grey + grain(random));
      }
    });
    out.pictures.push_back(picture);
  }
  std::mt19937 random(7);
  std::normal_distribution<double> off(0, 0.4);
  std::uniform_real_distribution<double> even(-1, 1);
  for (int k = 0; k < 1500; ++k) {
    const Vector2d uv = profile.length() * Vector2d(even(random), even(random));
    if (uv.norm() < profile.length())
      out.points.push_back(profile.point(uv, relief(uv)) + Vector3d(off(random), off(random), off(random)));
    if (k % 6 == 0)
      out.points.push_back({reach * even(random), reach * even(random), top * (0.5 + 0.6 * even(random))});
  }
  return out;
}

}  // namespace interstice::form_scene
