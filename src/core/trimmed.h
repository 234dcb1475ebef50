// A line's text without the spaces, tabs and carriage returns at its ends.
#pragma once

#include <string>

namespace interstice::core {

inline std::string trimmed(const std::string& s) {
  const std::size_t first = s.find_first_not_of(" \t\r"), last = s.find_last_not_of(" \t\r");
  return first == std::string::npos ? "" : s.substr(first, last - first + 1);
}

}  // namespace interstice::core
