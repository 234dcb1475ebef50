// JPEG (ITU-T T.81, annex B): the segments that decode the picture are copied, all others are left behind.
#include <map>

#include "archive/picture_parts.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

constexpr std::size_t kMaxSegment = 65533;  // bytes after the length's own two
const std::string kIccMark("ICC_PROFILE\0", 12);

std::string segment(unsigned marker, std::string_view content) {
  std::string out{static_cast<char>(0xff), static_cast<char>(marker)};
  return out + as_big_endian(content.size() + 2, 2) + std::string(content);
}

bool is_start_of_frame(unsigned m) {
  return m >= 0xc0 && m <= 0xcf && m != 0xc4 && m != 0xc8 && m != 0xcc;
}

// Tables and headers of the picture itself: quantization, Huffman, arithmetic coding, restart interval.
bool is_table(unsigned m) {
  return m == 0xdb || m == 0xc4 || m == 0xcc || m == 0xdd;
}

class JpegRebuild {
 public:
  JpegRebuild(std::string_view from, const std::string& file) : from_(from), file_(file) {}

  std::string run(const CameraFacts& facts) {
    at_ = 2;
    for (unsigned marker = next_marker(); marker != 0xd9; marker = next_marker()) {
      if (marker == 0xd8 || marker == 0x01 || (marker >= 0xd0 && marker <= 0xd7)) throw Damaged();
      take(marker);
    }
    if (scans_ == 0) throw Damaged();
    std::string out("\xff\xd8");
    out += jfif_ + exif_segment(facts) + icc_segments() + adobe_ + body_;
    return out + "\xff\xd9";
  }

 private:
  // Stray bytes between segments are common and skipped, as decoders do.
  unsigned next_marker() {
    for (;;) {
      at_ = from_.find('\xff', at_);
      if (at_ == std::string_view::npos) throw Damaged();
      while (big_endian(from_, at_, 1) == 0xff) ++at_;
      if (const auto marker = static_cast<unsigned>(big_endian(from_, at_++, 1)); marker != 0) return marker;
    }
  }

  void take(unsigned marker) {
    const std::size_t length = big_endian(from_, at_, 2);
    if (length < 2) throw Damaged();
    const std::string_view content = slice(from_, at_ + 2, length - 2);
    at_ += length;
    if (is_start_of_frame(marker) || is_table(marker)) {
      body_ += segment(marker, content);
    } else if (marker == 0xda) {
      body_ += segment(marker, content) + entropy_data();
      ++scans_;
    } else if (marker == 0xdc) {  // the number of lines, after the first scan
      body_ += segment(marker, content);
    } else if (marker == 0xe0 && content.substr(0, 5) == std::string_view("JFIF\0", 5)) {
      // Density stays, the thumbnail does not.
      if (jfif_.empty()) jfif_ = segment(marker, std::string(slice(content, 0, 12)) + std::string(2, '\0'));
    } else if (marker == 0xee && content.substr(0, 5) == "Adobe") {
      if (adobe_.empty()) adobe_ = segment(marker, slice(content, 0, 12));  // says how colours are stored
    } else if (marker == 0xe2 && content.substr(0, kIccMark.size()) == kIccMark) {
      icc_.emplace(big_endian(content, 12, 1), slice(content, 14, content.size() - 14));
    } else if (marker == 0xde || marker == 0xdf) {
      throw core::InputError(file_, "is a JPEG of several layers");
    }
  }

  // Up to the next marker that is neither a stuffed byte nor a restart.
  std::string entropy_data() {
    const std::size_t from = at_;
    for (;; ++at_) {
      at_ = from_.find('\xff', at_);
      if (at_ == std::string_view::npos) throw Damaged();
      const std::uint64_t next = big_endian(from_, at_ + 1, 1);
      if (next == 0 || (next >= 0xd0 && next <= 0xd7)) {
        ++at_;
      } else if (next != 0xff) {
        return std::string(from_.substr(from, at_ - from));
      }
    }
  }

  static std::string exif_segment(const CameraFacts& facts) {
    const std::string exif = fresh_exif(facts);
    return exif.empty() ? "" : segment(0xe1, std::string("Exif\0\0", 6) + exif);
  }

  std::string icc_segments() const {
    std::string whole, out;
    for (const auto& [number, part] : icc_) whole += part;
    const std::optional<std::string> profile = icc_profile(whole);
    if (!profile) return "";
    const std::size_t room = kMaxSegment - kIccMark.size() - 2, count = (profile->size() + room - 1) / room;
    for (std::size_t k = 0; k < count; ++k) {
      const std::string numbers{static_cast<char>(k + 1), static_cast<char>(count)};
      out += segment(0xe2, kIccMark + numbers + profile->substr(k * room, room));
    }
    return out;
  }

  std::string_view from_;
  const std::string& file_;
  std::size_t at_ = 0;
  int scans_ = 0;
  std::string jfif_, adobe_, body_;
  std::map<std::uint64_t, std::string> icc_;  // by number
};

}  // namespace

std::string clean_jpeg(const std::string& picture, const CameraFacts& facts, const std::string& file) {
  return JpegRebuild(picture, file).run(facts);
}

}  // namespace interstice::archive
