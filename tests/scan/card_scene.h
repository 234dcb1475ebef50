// Synthetic photos of four cards on a bench, with known truth.
#pragma once

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "camera/cards.h"
#include "scan/card_poses.h"

namespace interstice::testing_scene {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

inline Isometry3d looking_at(const Vector3d& from, const Vector3d& at) {
  const Vector3d z = (at - from).normalized(), x = z.cross(Vector3d::UnitZ()).normalized();
  Isometry3d bench_T_camera = Isometry3d::Identity();
  bench_T_camera.linear() << x, z.cross(x), z;
  bench_T_camera.translation() = from;
  return bench_T_camera.inverse();
}

struct Scene {
  camera::Lens lens;
  std::vector<Isometry3d> camera_T_bench, bench_T_card;
  std::vector<scan::PhotoCards> photos;
};

inline Scene make_scene(double noise_px, unsigned seed) {
  Scene s;
  s.lens = camera::plain_lens(2000, 1500, 1500);
  s.lens.k1 = 0.05;
  s.lens.k2 = -0.1;
  for (int c = 0; c < 4; ++c) {
    Isometry3d t = Isometry3d::Identity();
    t.linear() = Eigen::AngleAxisd(0.4 + 1.5 * c, Vector3d::UnitZ()).toRotationMatrix();
    t.translation() = 230 * Vector3d(std::cos(1.57 * c), std::sin(1.57 * c), 0.001 * c);
    s.bench_T_card.push_back(t);
  }
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, noise_px);
  for (int p = 0; p < 10; ++p) {
    const double a = 2 * std::numbers::pi * p / 10;
    s.camera_T_bench.push_back(
        looking_at({480 * std::cos(a), 480 * std::sin(a), 260.0 + 40 * (p % 3)}, {0, 0, 20}));
    scan::PhotoCards photo{static_cast<std::size_t>(p), s.lens, {}};
    for (int c = 0; c < 4; ++c) {
      camera::CardView view;
      view.card = c + 1;
      for (int k = 0; k < camera::kCornersPerCard; ++k) {
        const Vector2d q = s.lens.project(s.camera_T_bench.back() *
                                          (s.bench_T_card[std::size_t(c)] * camera::card_point(k)));
        if (!s.lens.in_frame(q, 5)) continue;
        view.corner_id.push_back(k);
        view.pixel.push_back(noise_px > 0 ? Vector2d(q + Vector2d(noise(random), noise(random))) : q);
        view.sd_px.push_back(std::max(0.02, noise_px));
      }
      if (view.corner_id.size() >= 8) photo.views.push_back(view);
    }
    s.photos.push_back(photo);
  }
  return s;
}

}  // namespace interstice::testing_scene
