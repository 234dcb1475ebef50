#pragma once

#include <numbers>

namespace interstice::renderer {

inline double radians(double degrees) {
  return degrees * std::numbers::pi / 180;
}

}  // namespace interstice::renderer
