#include "renderer/lens_wave.h"

#include <array>
#include <cmath>
#include <numbers>

#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;

namespace {

// cos(k angle) for k = 0, 1, ..., by the recurrence of Chebyshev's polynomials.
template <std::size_t N>
std::array<double, N> cosines(double angle) {
  std::array<double, N> out{};
  out[0] = 1;
  out[1] = std::cos(angle);
  for (std::size_t k = 2; k < N; ++k) out[k] = 2 * out[1] * out[k - 1] - out[k - 2];
  return out;
}

}  // namespace

LensWave::LensWave(int width_px, int height_px, double rms_px, std::uint64_t seed)
    : width_px_(width_px), height_px_(height_px) {
  Random random(seed);
  Vector2d square = Vector2d::Zero();
  for (int down = 0; down <= kDown; ++down) {
    for (int across = 0; across <= kAcross; ++across) {
      const double a = static_cast<double>(across) / kAcross, d = static_cast<double>(down) / kDown;
      const bool there = across + down > 1 && a * a + d * d <= 1;
      Vector2d size = Vector2d::Zero();
      if (there) size = {random.normal(), random.normal()};
      sizes_.push_back(size);
      // Mean square of a cosine over whole half waves: 1/2, of the constant 1.
      square += (across > 0 ? 0.5 : 1) * (down > 0 ? 0.5 : 1) * size.cwiseAbs2();
    }
  }
  for (Vector2d& size : sizes_) size = rms_px * size.cwiseQuotient(square.cwiseSqrt());
}

Vector2d LensWave::at(const Vector2d& pixel) const {
  const auto across = cosines<kAcross + 1>(std::numbers::pi * (pixel.x() + 0.5) / width_px_);
  const auto down = cosines<kDown + 1>(std::numbers::pi * (pixel.y() + 0.5) / height_px_);
  Vector2d sum = Vector2d::Zero();
  std::size_t k = 0;
  for (const double d : down) {
    Vector2d row = Vector2d::Zero();
    for (const double a : across) row += a * sizes_[k++];
    sum += d * row;
  }
  return sum;
}

}  // namespace interstice::renderer
