// Photos of two blocks with bevelled walls on a table, traced line by line of sight. For tests only; no code
// is shared with what reads the walls.
#pragma once

#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/core.hpp>
#include <vector>

#include "edges/wall_foot.h"

namespace interstice::testing_walls {

using Eigen::Vector2d;
using Eigen::Vector3d;

inline constexpr double kRadians = std::numbers::pi / 180;
inline constexpr double kHigh = 14, kHalfX = 16, kHalfY = 14, kGap = 5;  // mm

struct BlocksOptions {
  double face = 180, wall = 60, form = 150;         // grey levels
  std::vector<double> slopes = {0.28, 0.42, 0.65};  // of the lines of sight against the vertical
  double plan_inset_mm = 3;                         // planned outlines lie this far inside the feet
};

struct BlocksScene {
  std::array<double, 2> bevel_deg = {8, 12};
  scan::Scan scan;
  geometry::IndexedVector<geometry::PhotoIndex, surface::Picture> pictures;
  geometry::Profile form{{{0, 0}, {50, 0}, {100, 0}, {150, 0}, {200, 0}}};
  plan::Plan plan;
  geometry::IndexedVector<geometry::TileIndex, solid::PieceSolid> pieces;

  explicit BlocksScene(const BlocksOptions& o = {}) {
    plan.bevel_deg = 10;
    plan.tile_thickness_mm = kHigh;
    for (int t = 0; t < 2; ++t) add_block(t, o);
    scan.quality.pixel_footprint_mm = 0.2;
    for (std::size_t s = 0; s < o.slopes.size(); ++s) {
      for (int k = 0; k < 6; ++k) {
        const double turn = (60 * k + 17 * static_cast<double>(s)) * kRadians;
        add_photo({o.slopes[s] * std::cos(turn), o.slopes[s] * std::sin(turn), 1}, o);
      }
    }
  }

  geometry::IndexedVector<geometry::TileIndex, std::vector<edges::WallSide>> read(int threads = 2) const {
    return edges::read_wall_feet(scan, pictures, form, plan, pieces, threads);
  }

 private:
  static double middle_x(int t) { return (t == 0 ? -1 : 1) * (kHalfX + kGap / 2); }

  void add_block(int t, const BlocksOptions& o) {
    const Vector2d middle(middle_x(t), 0);
    const std::array<Vector2d, 4> corners{
        {{-kHalfX, -kHalfY}, {kHalfX, -kHalfY}, {kHalfX, kHalfY}, {-kHalfX, kHalfY}}};
    const double in = kHigh * std::tan(bevel_deg[static_cast<std::size_t>(t)] * kRadians) + o.plan_inset_mm;
    solid::PieceSolid piece;
    piece.face.origin = {middle.x(), 0, kHigh};
    plan::PlannedTile tile;
    tile.label = t == 0 ? "A01" : "A02";
    for (std::size_t i = 0; i < 4; ++i) {
      const Vector2d a = corners[i], b = corners[(i + 1) % 4];
      for (int k = 0; k < 40; ++k) {
        const Vector2d p = a + (b - a) * (k / 40.0);
        piece.arris.emplace_back(middle.x() + p.x(), p.y(), kHigh);
      }
      tile.outline.push_back(middle + Vector2d(a.x() * (1 - in / kHalfX), a.y() * (1 - in / kHalfY)));
    }
    piece.root = piece.arris;
    pieces.push_back(piece);
    plan.tiles.push_back(tile);
  }

  // What a line of sight meets first.
  double brightness(const Vector3d& from, const Vector3d& way, const BlocksOptions& o) const {
    double nearest = -from.z() / way.z(), value = o.form;
    for (int t = 0; t < 2; ++t) {
      const double b = std::tan(bevel_deg[static_cast<std::size_t>(t)] * kRadians), cx = middle_x(t);
      // Half spaces n . p <= d: the top, and four walls through its edges that recede downwards.
      const std::array<std::pair<Vector3d, double>, 5> planes{{{{0, 0, 1}, kHigh},
                                                               {{1, 0, -b}, cx + kHalfX - b * kHigh},
                                                               {{-1, 0, -b}, -cx + kHalfX - b * kHigh},
                                                               {{0, 1, -b}, kHalfY - b * kHigh},
                                                               {{0, -1, -b}, kHalfY - b * kHigh}}};
      double in = -std::numeric_limits<double>::infinity(), out = nearest;
      bool top = false;
      for (std::size_t k = 0; k < planes.size(); ++k) {
        const double speed = planes[k].first.dot(way), left = planes[k].second - planes[k].first.dot(from);
        const double at = left / speed;
        if (speed < 0 && at > in) in = at, top = k == 0;
        if (speed > 0) out = std::min(out, at);
      }
      if (in < out) nearest = in, value = top ? o.face : o.wall;
    }
    return value;
  }

  void add_photo(const Vector3d& towards, const BlocksOptions& o) {
    constexpr double kDistance = 450;
    constexpr int kWidth = 540, kHeight = 360;
    scan::ScannedPhoto photo;
    photo.lens = camera::plain_lens(kWidth, kHeight, kDistance / 0.2);
    const Vector3d at = kDistance * towards.normalized() + Vector3d(0, 0, kHigh), z = -towards.normalized();
    const Vector3d x = Vector3d::UnitY().cross(-z).normalized(), y = z.cross(x);
    Eigen::Matrix3d axes;
    axes.row(0) = x, axes.row(1) = y, axes.row(2) = z;
    photo.camera_T_bowl.setIdentity();
    photo.camera_T_bowl.linear() = axes;
    photo.camera_T_bowl.translation() = -axes * at;
    surface::Picture picture;
    picture.grey = cv::Mat(kHeight, kWidth, CV_8U);
    for (int row = 0; row < kHeight; ++row) {
      for (int col = 0; col < kWidth; ++col) {
        double sum = 0;
        for (const double dy : {-0.25, 0.25}) {
          for (const double dx : {-0.25, 0.25})
            sum += brightness(at, axes.transpose() * photo.lens.undistort({col + dx, row + dy}), o) / 4;
        }
        picture.grey.at<uchar>(row, col) = static_cast<uchar>(std::lround(sum));
      }
    }
    scan.photos.push_back(photo);
    pictures.push_back(picture);
  }
};

}  // namespace interstice::testing_walls
