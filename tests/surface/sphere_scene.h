// Photos of a textured sphere, rendered pixel by pixel.
#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "scan/scan.h"
#include "surface/pictures.h"
#include "surface/shell_plan.h"

namespace interstice {

// A sphere of radius 100 + height, centred on the bowl's origin, covered with smooth random texture that sits
// on directions, seen by cameras on a cone. In photo i the sphere may lie pushed by pushes[i] over the bench.
struct Sphere {
  scan::Scan scan;
  geometry::IndexedVector<geometry::PhotoIndex, surface::Picture> pictures;
};

inline float texture(const cv::Mat& table,
                     const Eigen::Vector3d& n) {  // three wrapped lookups, one a coordinate plane
  const auto at = [&](double a, double b) {
    const double x = a * 180 + 400, y = b * 180 + 400;
    return surface::sample(table, x, y);
  };
  return (at(n.x(), n.y()) + at(n.y(), n.z()) + at(n.z(), n.x())) / 3;
}

inline Sphere rendered(double height, const std::vector<Eigen::Vector2d>& pushes = {}) {
  Sphere s;
  cv::Mat table(800, 800, CV_8U);
  cv::RNG rng(8);
  rng.fill(table, cv::RNG::UNIFORM, 0, 255);
  cv::GaussianBlur(table, table, {0, 0}, 1.0);
  cv::normalize(table, table, 0, 255, cv::NORM_MINMAX);
  const double radius = 100 + height;
  for (int i = 0; i < 7; ++i) {
    const double a = 2 * std::numbers::pi * i / 7;
    const Eigen::Vector3d from(250 * std::cos(a), 250 * std::sin(a), 330);
    const Eigen::Vector3d z = (Eigen::Vector3d(0, 0, 60) - from).normalized(),
                          x = z.cross(Eigen::Vector3d::UnitZ()).normalized();
    Eigen::Isometry3d bowl_T_camera = Eigen::Isometry3d::Identity();
    bowl_T_camera.linear() << x, z.cross(x), z;
    bowl_T_camera.translation() = from;
    scan::ScannedPhoto photo;
    photo.lens = camera::plain_lens(640, 480, 700);
    photo.camera_T_bowl = bowl_T_camera.inverse();
    // Seen from a camera that moved the other way, the pushed sphere lies where it was.
    Eigen::Vector3d eye = from;
    if (static_cast<std::size_t>(i) < pushes.size()) eye.head<2>() -= pushes[static_cast<std::size_t>(i)];
    surface::Picture picture;
    picture.grey = cv::Mat(480, 640, CV_8U, cv::Scalar(0));
    for (int r = 0; r < 480; ++r) {
      for (int c = 0; c < 640; ++c) {
        const Eigen::Vector3d ray = bowl_T_camera.linear() * photo.lens.undistort({double(c), double(r)});
        const double b = ray.dot(eye), disc = b * b - eye.squaredNorm() + radius * radius;
        if (disc < 0) continue;
        const Eigen::Vector3d p = eye + (-b - std::sqrt(disc)) * ray;
        picture.grey.at<uchar>(r, c) = cv::saturate_cast<uchar>(texture(table, p.normalized()));
      }
    }
    cv::cvtColor(picture.grey, picture.colour, cv::COLOR_GRAY2BGR);
    s.scan.photos.push_back(photo);
    s.pictures.push_back(picture);
  }
  s.scan.quality.pixel_footprint_mm = 330.0 / 700;
  return s;
}

}  // namespace interstice
