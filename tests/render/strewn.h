// Mouths by brute force.
#pragma once

#include <algorithm>
#include <cmath>
#include <map>
#include <string>
#include <vector>

#include "renderer/scene.h"

namespace interstice::renderer {

// The shortest way between the arris of a and points strewn densely over the walls and edges of b.
inline double mouth_by_points(const BuiltPiece& a, const BuiltPiece& b) {
  const Body body_a = a.body();
  std::vector<Eigen::Vector3d> strewn;
  const std::vector<LevelRing> levels = b.levels();
  for (std::size_t k = 0; k + 1 < levels.size(); ++k) {
    const double high = levels[k + 1].front().depth_mm - levels[k].front().depth_mm;
    const int steps = static_cast<int>(std::ceil(high / 0.05));
    for (int s = 0; s <= steps; ++s) {
      const LevelRing level = between(levels[k], levels[k + 1], static_cast<double>(s) / steps);
      Ring ring = ring_points(b.outline, level);
      for (Eigen::Vector3d& p : ring) p = b.frame.to_bowl(p);
      for (const Eigen::Vector3d& p : dense(ring, 0.2)) {
        if ((p - body_a.centre()).norm() < body_a.radius_mm() + 8) strewn.push_back(p);
      }
    }
  }
  double best = 1e9;
  for (const Eigen::Vector3d& p : dense(body_a.arris(), 0.1)) {
    for (const Eigen::Vector3d& q : strewn) best = std::min(best, (p - q).squaredNorm());
  }
  return std::sqrt(best);
}

// Every mouth up to 8 mm by brute force, beside what the scene's truth says of it.
struct StrewnMouth {
  const TrueSeam* seam;
  double mm;
};
inline std::vector<StrewnMouth> strewn_mouths(const Scene& scene) {
  std::map<std::string, const BuiltPiece*> by_label;
  for (const BuiltPiece& p : scene.pieces) by_label[p.label] = &p;
  std::vector<StrewnMouth> out;
  for (const TrueSeam& s : scene.seams) {
    if (s.mouth_mm > 8) continue;
    const BuiltPiece &a = *by_label[s.first], &b = *by_label[s.second];
    out.push_back({&s, std::min(mouth_by_points(a, b), mouth_by_points(b, a))});
  }
  return out;
}

}  // namespace interstice::renderer
