// Photos of a flat plate with known edges: seven or more cameras look down on it from all round.
//
// The pictures are exact: a Gaussian-blurred half plane is A * Phi(d / blur) with d the distance from its
// edge in pixels, and a convex plate is the product over its edges (at square corners). Without distortion
// straight edges stay straight, so d is exact too.
#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <random>
#include <vector>

#include "edges/edge_profiles.h"
#include "geometry/plane.h"
#include "geometry/polygon.h"

namespace interstice::testing_plate {

using Eigen::Vector2d;
using Eigen::Vector3d;

inline constexpr double kHalfX = 24, kHalfY = 16;  // mm

struct PlateScene {
  scan::Scan scan;
  geometry::IndexedVector<geometry::PhotoIndex, surface::Picture> pictures;
  geometry::PlaneFrame plane;  // of the plate, its middle at the origin
};

struct PlateOptions {
  double inside = 150, outside = 50;  // grey levels
  double blur_px = 0.8, noise = 0;
  bool in_light = false;           // blurred as light and then coded (IEC 61966-2-1), not as code values
  double strip = 0, strip_px = 0;  // grey levels and width of a strip along the plate's edge; no width: none
  // The strip as a broken corner: the plate's face this much above its widest outline, and narrower by this.
  double corner_height_mm = 0, corner_width_mm = 0;
  bool colour_only = false;  // the plate as light as what lies behind it, and redder
  unsigned seed = 1;
  int cameras = 10;
};

inline geometry::Polygon plate_outline() {
  return {{-kHalfX, -kHalfY}, {kHalfX, -kHalfY}, {kHalfX, kHalfY}, {-kHalfX, kHalfY}};
}

// Signed distance inward from edge k of the plate (0: y = -kHalfY, then counter-clockwise), in its plane, mm.
inline double inward_mm(int k, const Vector2d& p) {
  const double d[4] = {kHalfY + p.y(), kHalfX - p.x(), kHalfY - p.y(), kHalfX + p.x()};
  return d[k];
}

inline double light_of_code(double code) {  // IEC 61966-2-1, both on 0 to 255
  const double v = code / 255;
  return 255 * (v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
}

inline double code_of_light(double light) {
  const double v = light / 255;
  return 255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055);
}

// Between two code values, `share` of the way: of the codes, or of the light they stand for.
inline double between(const PlateOptions& options, double share) {
  const double a = options.outside, b = options.inside;
  if (!options.in_light) return a + share * (b - a);
  return code_of_light((1 - share) * light_of_code(a) + share * light_of_code(b));
}

// How much of each pixel a plate covers.
class Covered {
 public:
  Covered(const scan::ScannedPhoto& photo, const geometry::PlaneFrame& plane, double narrower_mm,
          double blur_px)
      : blur_px_(blur_px) {
    const geometry::Polygon corners = geometry::grown(plate_outline(), -narrower_mm);
    for (std::size_t k = 0; k < 4; ++k) {
      at_[k] = photo.project(plane.lift(corners[k]));
      const Vector2d along = photo.project(plane.lift(corners[(k + 1) % 4])) - at_[k];
      inward_[k] = Vector2d(-along.y(), along.x()).normalized();
      if (inward_[k].dot(photo.project(plane.origin) - at_[k]) < 0) inward_[k] = -inward_[k];
    }
  }
  double share(const Vector2d& pixel, double inset_px = 0) const {
    double out = 1;
    for (int k = 0; k < 4; ++k) {
      const double d = inward_[k].dot(pixel - at_[k]) - inset_px;
      out *= 0.5 * std::erfc(-d / (blur_px_ * std::numbers::sqrt2));
    }
    return out;
  }

 private:
  Vector2d at_[4], inward_[4];
  double blur_px_;
};

inline cv::Mat plate_picture(const scan::ScannedPhoto& photo, const geometry::PlaneFrame& plane,
                             const PlateOptions& options, unsigned seed) {
  geometry::PlaneFrame face = plane;
  face.origin += options.corner_height_mm * plane.normal;
  const Covered widest(photo, plane, 0, options.blur_px),
      rim(photo, face, options.corner_width_mm, options.blur_px);
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, options.noise);
  cv::Mat grey(photo.lens.height, photo.lens.width, CV_8U);
  for (int r = 0; r < grey.rows; ++r) {
    for (int c = 0; c < grey.cols; ++c) {
      const double share = widest.share(Vector2d(c, r));
      double v = between(options, share);
      if (options.strip_px > 0)
        v += (options.strip - options.inside) * (share - widest.share(Vector2d(c, r), options.strip_px));
      if (options.corner_width_mm > 0) {  // the face lies over the strip
        const double on_face = rim.share(Vector2d(c, r));
        v = options.outside + share * (options.strip - options.outside);
        v += on_face * (options.inside - v);
      }
      if (options.noise > 0) v += noise(random);
      grey.at<uchar>(r, c) = cv::saturate_cast<uchar>(v);
    }
  }
  return grey;
}

// The grey picture's values v become shares of red against green at one lightness (ITU-R BT.601 weights:
// 0.299 red + 0.587 green + 0.114 blue).
inline void paint_in_colour(surface::Picture& picture) {
  picture.colour.create(picture.grey.size(), CV_8UC3);
  for (int r = 0; r < picture.grey.rows; ++r) {
    for (int c = 0; c < picture.grey.cols; ++c) {
      const double v = picture.grey.at<uchar>(r, c) - 100.0;
      picture.colour.at<cv::Vec3b>(r, c) = {100, cv::saturate_cast<uchar>(110 - 0.299 * v),
                                            cv::saturate_cast<uchar>(110 + 0.587 * v)};
    }
  }
  picture.grey.setTo(109);
}

inline PlateScene plate_scene(const PlateOptions& options) {
  PlateScene s;
  s.plane = geometry::make_plane_frame({3, -2, 100}, {0.12, -0.08, 1}, {1, 0.2, 0});
  for (int i = 0; i < options.cameras; ++i) {
    const double a = 2 * std::numbers::pi * i / options.cameras + 0.1;
    const double zenith = i % 2 ? 0.38 : 0.62;  // slopes of 0.4 and 0.7
    const Vector3d from =
        Vector3d(0, 0, 100) +
        400 * Vector3d(std::sin(zenith) * std::cos(a), std::sin(zenith) * std::sin(a), std::cos(zenith));
    const Vector3d z = (Vector3d(0, 0, 100) - from).normalized(), x = z.cross(Vector3d::UnitZ()).normalized();
    Eigen::Isometry3d bowl_T_camera = Eigen::Isometry3d::Identity();
    bowl_T_camera.linear() << x, z.cross(x), z;
    bowl_T_camera.translation() = from;
    scan::ScannedPhoto photo;
    photo.lens = camera::plain_lens(360, 300, 1600);  // 0.25 mm a pixel
    photo.camera_T_bowl = bowl_T_camera.inverse();
    s.scan.photos.push_back(photo);
    surface::Picture picture;
    picture.grey = plate_picture(photo, s.plane, options, options.seed * 1000 + unsigned(i));
    if (options.colour_only) {
      paint_in_colour(picture);
    } else {
      cv::merge(std::vector<cv::Mat>(3, picture.grey), picture.colour);
    }
    s.pictures.push_back(picture);
  }
  return s;
}

// Which edge of the plate an outline point belongs to; -1 within `margin_mm` of a corner.
inline int edge_of(const Vector2d& p, double margin_mm) {
  int best = 0, second = 1;
  for (int k = 1; k < 4; ++k) {
    if (inward_mm(k, p) < inward_mm(best, p)) {
      second = best;
      best = k;
    } else if (k != best && (second == best || inward_mm(k, p) < inward_mm(second, p))) {
      second = k;
    }
  }
  return inward_mm(second, p) < margin_mm ? -1 : best;
}

}  // namespace interstice::testing_plate
