#include "renderer/picture.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::Vector3f;

namespace {

constexpr int kGrid = 4;               // pixels between exactly undistorted points
constexpr int kMostReach = 4;          // pixels of blur over which edges are followed
constexpr float kFarAway = 5000;       // mm, for blur of the room behind
constexpr std::uint32_t kNothing = 0;  // key of the room

// Directions at z = 1 on a coarse grid; between its points the lens is straight to 0.001 px.
class PixelDirections {
 public:
  explicit PixelDirections(const Shot& shot) : across_(shot.width_px / kGrid + 3) {
    const int down = shot.height_px / kGrid + 3;
    for (int row = 0; row < down; ++row) {
      for (int col = 0; col < across_; ++col) {
        grid_.push_back(shot.undistorted({(col - 1) * kGrid * 1.0, (row - 1) * kGrid * 1.0}).cast<float>());
      }
    }
  }
  Eigen::Vector2f at(float u, float v) const {
    const float gx = u / kGrid + 1, gy = v / kGrid + 1;
    const int col = static_cast<int>(gx), row = static_cast<int>(gy);
    const float tx = gx - static_cast<float>(col), ty = gy - static_cast<float>(row);
    const auto i = static_cast<std::size_t>(row * across_ + col), j = i + static_cast<std::size_t>(across_);
    return (1 - ty) * ((1 - tx) * grid_[i] + tx * grid_[i + 1]) +
           ty * ((1 - tx) * grid_[j] + tx * grid_[j + 1]);
  }

 private:
  int across_;
  std::vector<Eigen::Vector2f> grid_;
};

float fraction(float x) {
  return x - std::floor(x);
}

}  // namespace

// One picture being taken: first a few samples everywhere, then more where edges run.
class LitScene::Rows {
 public:
  Rows(const LitScene& lit, const Shot& shot, std::uint64_t seed)
      : lit_(lit),
        shot_(shot),
        directions_(shot),
        seed_(seed),
        bowl_R_camera_(shot.camera_R_bowl.transpose().cast<float>()),
        centre_(shot.centre().cast<float>()),
        sum_(shot.height_px, shot.width_px, CV_32FC3, cv::Scalar::all(0)),
        keys_(shot.height_px, shot.width_px, CV_32SC1, cv::Scalar::all(0)),
        blur_(shot.height_px, shot.width_px, CV_8UC1, cv::Scalar::all(0)),
        edges_(shot.height_px, shot.width_px, CV_8UC1, cv::Scalar::all(0)) {}

  void first_pass(int row) {
    for (int col = 0; col < shot_.width_px; ++col) {
      float nearest = kFarAway;
      const std::uint64_t h = pixel_key(row, col);
      for (int k = 0; k < interior(); ++k) {
        const Sample s = add(row, col, k, h);
        if (k == 0) keys_.at<std::int32_t>(row, col) = static_cast<std::int32_t>(s.key);
        if (s.key != static_cast<std::uint32_t>(keys_.at<std::int32_t>(row, col)))
          edges_.at<std::uint8_t>(row, col) = 1;
        nearest = std::min(nearest, s.distance);
      }
      blur_.at<std::uint8_t>(row, col) = blur_radius(nearest);
    }
  }

  void find_edges(int row) {
    for (int col = 0; col < shot_.width_px; ++col) {
      const std::int32_t own = keys_.at<std::int32_t>(row, col);
      bool edge = edges_.at<std::uint8_t>(row, col) != 0;
      for (int y = std::max(0, row - 1); y <= std::min(shot_.height_px - 1, row + 1); ++y) {
        for (int x = std::max(0, col - 1); x <= std::min(shot_.width_px - 1, col + 1); ++x) {
          edge = edge || keys_.at<std::int32_t>(y, x) != own;
        }
      }
      // Out of focus, an edge reaches as far as the blur of what lies beside it.
      edges_.at<std::uint8_t>(row, col) =
          edge ? static_cast<std::uint8_t>(1 + blur_.at<std::uint8_t>(row, col)) : 0;
    }
  }

  void spread_edges() {
    cv::Mat near = edges_ > 0;
    for (int reach = 1; reach <= kMostReach; ++reach) {
      const cv::Mat wide = edges_ > reach;
      if (cv::countNonZero(wide) == 0) break;
      const int side = 2 * reach + 1;
      cv::Mat grown;
      cv::dilate(wide, grown, cv::Mat::ones(side, side, CV_8U));
      near |= grown;
    }
    edges_ = near;
  }

  void second_pass(int row) {
    for (int col = 0; col < shot_.width_px; ++col) {
      int count = interior();
      if (edges_.at<std::uint8_t>(row, col) != 0) {
        const std::uint64_t h = pixel_key(row, col);
        for (; count < lit_.scene_.options.sampling.edge_samples; ++count) add(row, col, count, h);
      }
      sum_.at<cv::Vec3f>(row, col) *= static_cast<float>(shot_.exposure / count);
    }
  }

  const cv::Mat& result() const { return sum_; }

 private:
  int interior() const { return lit_.scene_.options.sampling.interior_samples; }

  std::uint8_t blur_radius(float distance) const {
    const double across =
        shot_.focal_px * shot_.aperture_mm * std::abs(1.0 / distance - 1.0 / shot_.focus_mm);
    return static_cast<std::uint8_t>(std::min(12.0, std::ceil(0.5 * across)));
  }

  std::uint64_t pixel_key(int row, int col) const {
    return mixed(seed_ ^ (static_cast<std::uint64_t>(row) << 32) ^ static_cast<std::uint64_t>(col));
  }

  Sample add(int row, int col, int number, std::uint64_t h) {
    // An additive recurrence on powers of 1 / 1.1673 (root of x^5 = x + 1), shifted by the pixel: four even
    // dimensions, two for the pixel's square and two for the lens.
    const float n = static_cast<float>(number);
    const auto shift = [h](int k) { return static_cast<float>((h >> (16 * k)) & 0xffff) * 0x1p-16f; };
    const float a = fraction(0.85667488f * n + shift(0)), b = fraction(0.73389185f * n + shift(1));
    const float c = fraction(0.62870672f * n + shift(2)), d = fraction(0.53859725f * n + shift(3));
    const Eigen::Vector2f direction =
        directions_.at(static_cast<float>(col) + a - 0.5f, static_cast<float>(row) + b - 0.5f);
    const float r = 0.5f * static_cast<float>(shot_.aperture_mm) * std::sqrt(c), turn = 6.2831853f * d;
    const Vector3f lens(r * std::cos(turn), r * std::sin(turn), 0);
    const float focus = static_cast<float>(shot_.focus_mm);
    const Vector3f through = Vector3f(focus * direction.x(), focus * direction.y(), focus) - lens;
    Sample s = lit_.sample(centre_ + bowl_R_camera_ * lens, bowl_R_camera_ * through.normalized(),
                           h + static_cast<std::uint64_t>(number));
    s.distance *= through.normalized().z();
    sum_.at<cv::Vec3f>(row, col) += cv::Vec3f(s.light.z(), s.light.y(), s.light.x());
    return s;
  }

  const LitScene& lit_;
  const Shot& shot_;
  PixelDirections directions_;
  std::uint64_t seed_;
  Eigen::Matrix3f bowl_R_camera_;
  Vector3f centre_;
  cv::Mat sum_, keys_, blur_, edges_;
};

namespace {

std::vector<Mesh> lit_meshes(const Scene& scene) {
  return make_meshes(scene, scene.options.sampling.light_step_mm);
}

}  // namespace

LitScene::LitScene(const Scene& scene)
    : scene_(scene),
      meshes_(lit_meshes(scene)),
      rays_(meshes_),
      paint_(scene),
      lamp_(side_lamp(scene.options.look)),
      gloss_(scene.options, meshes_, rays_, paint_) {
  light_meshes(meshes_, rays_, paint_, scene.options);
}

LitScene::Sample LitScene::sample(const Vector3f& origin, const Vector3f& direction,
                                  std::uint64_t pick) const {
  const Hit hit = rays_.first_hit(origin, direction);
  if (!hit.found) {
    // The room behind the bench: a wall with a darker strip at its foot, both out of focus.
    const bool strip = direction.z() < 0.02f;
    const Vector3f colour = strip ? Vector3f(0.17f, 0.15f, 0.13f) : Vector3f(0.36f, 0.38f, 0.42f);
    return {colour * (1 + 0.3f * direction.z()), kNothing + (strip ? 1u : 0u), kFarAway};
  }
  const Mesh& mesh = meshes_[hit.mesh];
  const Vector3f position = origin + hit.distance * direction;
  const auto& t = mesh.triangles[hit.triangle];
  const float w = 1 - hit.u - hit.v;
  Vector3f light = w * mesh.light[t[0]] + hit.u * mesh.light[t[1]] + hit.v * mesh.light[t[2]];
  Vector3f normal = hit.normal;
  if (mesh.smooth)
    normal = (w * mesh.normals[t[0]] + hit.u * mesh.normals[t[1]] + hit.v * mesh.normals[t[2]]).normalized();
  const Paint::Touch touch = paint_.at(mesh, position, mesh.parts[hit.triangle]);
  float lamp = 0;
  if (lamp_) {
    lamp = lamp_light(*lamp_, rays_, position, normal, pick);
    light += lamp * Vector3f(1.08f, 1.0f, 0.88f);
  }
  const std::uint32_t key = 16u + (hit.mesh << 6) +
                            (static_cast<std::uint32_t>(mesh.parts[hit.triangle]) << 2) +
                            (touch.ink ? 2u : 0u) + (lamp > 0 ? 1u : 0u);
  if (mesh.surface == Surface::resin) {
    const Vector3f room = light - lamp * Vector3f(1.08f, 1.0f, 0.88f);
    return {gloss_.light_from({position, normal, direction, room, lamp, pick}), key, hit.distance};
  }
  return {touch.reflectance.cwiseProduct(light), key, hit.distance};
}

cv::Mat LitScene::picture(const Shot& shot) const {
  std::uint64_t name = 0;
  for (const char c : shot.name) name = name * 131 + static_cast<std::uint8_t>(c);
  Rows rows(*this, shot, key(scene_.options.seed, 71, name));
  const auto height = static_cast<std::size_t>(shot.height_px);
  const int threads = scene_.options.sampling.threads;
  core::parallel_for(height, threads, [&](std::size_t row) { rows.first_pass(static_cast<int>(row)); });
  core::parallel_for(height, threads, [&](std::size_t row) { rows.find_edges(static_cast<int>(row)); });
  rows.spread_edges();
  core::parallel_for(height, threads, [&](std::size_t row) { rows.second_pass(static_cast<int>(row)); });
  return rows.result();
}

}  // namespace interstice::renderer
