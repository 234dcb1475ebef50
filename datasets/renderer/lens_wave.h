// What a lens does beyond Brown's model: a smooth residual, the same in all photos of a camera.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <vector>

namespace interstice::renderer {

// Sums of cosines over the frame, kAcross half waves along its long side at most, without the part that a turned or
// shifted camera would show. x and y have a mean square of exactly rms_px^2 over the frame each.
class LensWave {
 public:
  LensWave(int width_px, int height_px, double rms_px, std::uint64_t seed);

  Eigen::Vector2d at(const Eigen::Vector2d& pixel) const;

 private:
  static constexpr int kAcross = 8, kDown = 6;

  int width_px_, height_px_;
  std::vector<Eigen::Vector2d> sizes_;  // by half waves down, then across
};

}  // namespace interstice::renderer
