// PNG (W3C recommendation, third edition): the chunks that make the picture are copied, all others left
// behind.
#include <zlib.h>

#include <array>

#include "archive/picture_parts.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

constexpr std::size_t kMaxProfile = 16u << 20;

std::string chunk(const std::string& name, std::string_view content) {
  const std::string checked = name + std::string(content);
  const uLong crc =
      crc32(0, reinterpret_cast<const Bytef*>(checked.data()), static_cast<uInt>(checked.size()));
  return as_big_endian(content.size(), 4) + checked + as_big_endian(crc, 4);
}

// Chunks with nothing but numbers, and how long each may be.
struct Allowed {
  const char* name;
  std::size_t most;
};
constexpr std::array<Allowed, 10> kAllowed{{{"IHDR", 13},
                                            {"PLTE", 768},
                                            {"tRNS", 256},
                                            {"sRGB", 1},
                                            {"gAMA", 4},
                                            {"cHRM", 32},
                                            {"pHYs", 9},
                                            {"sBIT", 4},
                                            {"cICP", 4},
                                            {"IDAT", 0x7fffffff}}};

bool is_allowed(std::string_view name, std::size_t length) {
  for (const Allowed& a : kAllowed) {
    if (name == a.name) return length <= a.most;
  }
  return false;
}

// The profile inside an iCCP chunk, packed anew under a name that says nothing.
std::string clean_profile(std::string_view content) {
  const std::size_t name_end = content.find('\0');
  if (name_end == std::string_view::npos || name_end + 2 > content.size()) return "";
  const std::string_view packed = content.substr(name_end + 2);
  std::string whole(kMaxProfile, '\0');
  uLongf length = whole.size();
  if (uncompress(reinterpret_cast<Bytef*>(whole.data()), &length,
                 reinterpret_cast<const Bytef*>(packed.data()), packed.size()) != Z_OK) {
    return "";
  }
  whole.resize(length);
  const std::optional<std::string> profile = icc_profile(whole);
  if (!profile) return "";
  std::string again(compressBound(profile->size()), '\0');
  length = again.size();
  if (compress(reinterpret_cast<Bytef*>(again.data()), &length,
               reinterpret_cast<const Bytef*>(profile->data()), profile->size()) != Z_OK) {
    return "";
  }
  again.resize(length);
  return chunk("iCCP", std::string("ICC\0\0", 5) + again);
}

}  // namespace

std::string clean_png(const std::string& picture, const CameraFacts& facts, const std::string& file) {
  std::string out = picture.substr(0, 8);
  bool has_picture = false, has_exif = false;
  for (std::size_t at = 8;;) {
    const std::size_t length = big_endian(picture, at, 4);
    const std::string name(slice(picture, at + 4, 4));
    const std::string_view content = slice(picture, at + 8, length);
    slice(picture, at + 8 + length, 4);
    if ((at == 8) != (name == "IHDR"))
      throw core::InputError(file, "is a PNG picture that does not start as one");
    at += length + 12;
    if (name == "IEND") break;
    if (name == "IDAT") {
      const std::string exif = has_exif ? "" : fresh_exif(facts);
      if (!exif.empty()) out += chunk("eXIf", exif);
      has_picture = has_exif = true;
    }
    if (name == "iCCP") {
      out += clean_profile(content);
    } else if (is_allowed(name, length)) {
      out += chunk(name, content);
    }
  }
  if (!has_picture) throw Damaged();
  return out + chunk("IEND", "");
}

}  // namespace interstice::archive
