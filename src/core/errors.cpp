#include "core/errors.h"

namespace interstice {

std::string one_line(const std::string& text, std::size_t max_bytes) {
  static const char* hex = "0123456789abcdef";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7f) {
      out += "\\x";
      out += hex[byte >> 4];
      out += hex[byte & 15];
    } else {
      out += c;
    }
  }
  if (out.size() <= max_bytes || max_bytes < 8) return out;
  const std::size_t half = (max_bytes - 3) / 2;
  return out.substr(0, half) + "..." + out.substr(out.size() - half);
}

}  // namespace interstice
