// Random numbers by hashing: the value depends on the key alone, never on the order of calls or threads.
#pragma once

#include <cmath>
#include <cstdint>

namespace interstice::renderer {

// Finaliser of SplitMix64 (Steele, Lea, Flood 2014): every bit of the input reaches every bit of the output.
inline std::uint64_t mixed(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15ull;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ull;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebull;
  return x ^ (x >> 31);
}

inline std::uint64_t key(std::uint64_t a, std::uint64_t b = 0, std::uint64_t c = 0, std::uint64_t d = 0) {
  return mixed(mixed(mixed(mixed(a) ^ b) ^ c) ^ d);
}

inline double unit_from(std::uint64_t bits) {
  return static_cast<double>(bits >> 11) * 0x1p-53;
}
inline float unit_float_from(std::uint64_t bits) {
  return static_cast<float>(bits >> 40) * 0x1p-24f;
}

// A sequence of its own for each seed.
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(mixed(seed)) {}
  std::uint64_t bits() { return mixed(state_++); }
  double unit() { return unit_from(bits()); }                                      // [0, 1)
  double between(double low, double high) { return low + (high - low) * unit(); }  // uniform
  double normal() {                                                                // mean 0, variance 1
    const double u = 1.0 - unit(), v = unit();
    return std::sqrt(-2.0 * std::log(u)) * std::cos(6.283185307179586 * v);
  }
  // Normal, cut off at +-limit standard deviations.
  double bounded_normal(double limit) {
    double x = normal();
    while (std::abs(x) > limit) x = normal();
    return x;
  }

 private:
  std::uint64_t state_;
};

}  // namespace interstice::renderer
