// A number and what it counts: "1 photo", "2 photos".
#pragma once

#include <cstddef>
#include <string>

namespace interstice::core {

inline std::string counted(std::size_t n, const std::string& one, const std::string& many) {
  return std::to_string(n) + " " + (n == 1 ? one : many);
}

inline std::string counted(std::size_t n, const std::string& what) {
  return counted(n, what, what + "s");
}

}  // namespace interstice::core
