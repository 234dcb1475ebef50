#include "core/errors.h"

#include "core/name_check.h"

namespace interstice::core {

std::string one_line(const std::string& text, std::size_t max_bytes) {
  std::string out = escaped(text);
  if (out.size() <= max_bytes || max_bytes < 8) return out;
  const auto inside = [&](std::size_t at) { return (static_cast<unsigned char>(out[at]) & 0xc0) == 0x80; };
  const std::size_t half = (max_bytes - 3) / 2;
  std::size_t head = half, tail = out.size() - half;
  while (head > 0 && inside(head)) --head;  // cut between characters, not within one (UTF-8)
  while (tail < out.size() && inside(tail)) ++tail;
  return out.substr(0, head) + "..." + out.substr(tail);
}

}  // namespace interstice::core
