// Corners of a rendered card as OpenCV finds them, against where the truth puts them.
#pragma once

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "renderer/develop.h"
#include "renderer/picture.h"

namespace interstice::renderer {

inline SceneOptions card_options(double print_scale) {
  SceneOptions o = preset("lens");
  o.camera.width_px = 1000;
  o.camera.height_px = 750;
  o.camera.footprint_mm = 0.4;
  o.camera.photos = 4;
  o.camera.noise = 1;
  o.camera.sharpen = 0;
  o.cards.cards = {4};
  o.cards.print_scale = print_scale;
  o.sampling.light_rays = 16;
  o.sampling.edge_samples = 32;
  o.sampling.threads = 2;
  return o;
}

inline cv::Mat grey_photo(const LitScene& lit, const Scene& scene, const Shot& shot) {
  cv::Mat grey;
  cv::cvtColor(developed(lit.picture(shot), scene.options.camera, 5), grey, cv::COLOR_BGR2GRAY);
  return grey;
}

struct SeenCorner {
  std::size_t shot = 0;
  Eigen::Vector2d printed_mm, seen_px;  // nominal, from the sheet's centre; found in the photo
};

// All inner corners of the first card that lie well within a photo; looked for near their true places.
inline std::vector<SeenCorner> seen_corners(const Scene& scene) {
  const LitScene lit(scene);
  const CardPlace& card = scene.cards[0];
  std::vector<SeenCorner> out;
  for (std::size_t i = 0; i < scene.shots.size(); ++i) {
    const Shot& shot = scene.shots[i];
    const cv::Mat grey = grey_photo(lit, scene, shot);
    std::vector<cv::Point2f> corners;
    const std::size_t first = out.size();
    for (const Eigen::Vector2d& c : board_corners()) {
      const Eigen::Vector2d p =
          shot.project(card.on_sheet(card.print_scale * c.x(), card.print_scale * c.y()));
      if (p.x() < 8 || p.y() < 8 || p.x() > shot.width_px - 9 || p.y() > shot.height_px - 9) continue;
      out.push_back({i, c, p});
      corners.emplace_back(static_cast<float>(p.x()) + 0.4f, static_cast<float>(p.y()) - 0.3f);
    }
    cv::cornerSubPix(grey, corners, {3, 3}, {-1, -1},
                     {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 100, 1e-4});
    for (std::size_t k = 0; k < corners.size(); ++k)
      out[first + k].seen_px = Eigen::Vector2d(corners[k].x, corners[k].y);
  }
  return out;
}

struct CornerErrors {
  Eigen::Vector2d mean = Eigen::Vector2d::Zero();
  double rms = 0;
  int count = 0;
};

// Corners as seen minus where `scene` projects them, with the print taken to be `scale` large.
inline CornerErrors corner_errors(const std::vector<SeenCorner>& seen, const Scene& scene, double scale) {
  CornerErrors out;
  double sum2 = 0;
  for (const SeenCorner& c : seen) {
    const Eigen::Vector3d place = scene.cards[0].on_sheet(scale * c.printed_mm.x(), scale * c.printed_mm.y());
    const Eigen::Vector2d miss = c.seen_px - scene.shots[c.shot].project(place);
    out.mean += miss;
    sum2 += miss.squaredNorm();
    ++out.count;
  }
  out.mean /= out.count;
  out.rms = std::sqrt(sum2 / out.count);
  return out;
}

inline CornerErrors corner_errors(const Scene& scene, double scale) {
  return corner_errors(seen_corners(scene), scene, scale);
}

}  // namespace interstice::renderer
