#include "camera/photo_limits.h"

#include <webp/decode.h>

#include <algorithm>
#include <cstdint>
#include <string_view>

namespace interstice::camera {
namespace {

// The entries of a TIFF's first directory (TIFF 6.0, section 2).
class FirstDirectory {
 public:
  explicit FirstDirectory(const std::string& bytes) : bytes_(bytes), little_(bytes[0] == 'I') {
    if (bytes_.size() < 10) return;
    const std::size_t directory = number(4, 4);
    if (directory + 2 > bytes_.size()) return;
    first_ = directory + 2;
    count_ = std::min<std::size_t>(number(directory, 2), (bytes_.size() - first_) / 12);
  }

  // Calls each(tag, where its value stands).
  template <class Each>
  void for_each(Each each) const {
    for (std::size_t i = 0; i < count_; ++i) each(number(first_ + 12 * i, 2), first_ + 12 * i + 8);
  }
  // A value of one SHORT or LONG.
  std::uint32_t value(std::size_t at) const { return number(at, number(at - 6, 2) == 3 ? 2 : 4); }
  bool little() const { return little_; }

 private:
  std::uint32_t number(std::size_t at, std::size_t length) const {
    std::uint32_t v = 0;
    for (std::size_t i = 0; i < length; ++i) {
      v |= static_cast<std::uint32_t>(static_cast<unsigned char>(bytes_[at + i]))
           << 8 * (little_ ? i : length - 1 - i);
    }
    return v;
  }

  const std::string& bytes_;
  bool little_;
  std::size_t first_ = 0, count_ = 0;
};

constexpr std::uint32_t kWidth = 256, kLength = 257, kOrientation = 274, kSamples = 277;

// Bits of an HEVC unit, without the bytes put in so that it holds no start code (H.265, 7.3.1.1). Past the
// end: nought.
class UnitBits {
 public:
  explicit UnitBits(std::string_view unit) {
    for (std::size_t i = 0; i < unit.size(); ++i) {
      const bool put_in = i >= 2 && unit[i] == 3 && unit[i - 1] == 0 && unit[i - 2] == 0;
      if (!put_in) bytes_ += unit[i];
    }
  }
  std::uint32_t take(int bits) {
    std::uint32_t out = 0;
    for (; bits > 0; --bits, ++at_) {
      const std::size_t byte = at_ / 8;
      const unsigned value = byte < bytes_.size() ? static_cast<unsigned char>(bytes_[byte]) : 0;
      out = out << 1 | ((value >> (7 - at_ % 8)) & 1);
    }
    return out;
  }
  void skip(std::size_t bits) { at_ += bits; }
  std::uint32_t exp_golomb() {  // H.265, 9.2
    int zeros = 0;
    while (zeros < 31 && take(1) == 0) ++zeros;
    return (1u << zeros) - 1 + take(zeros);
  }

 private:
  std::string bytes_;
  std::size_t at_ = 0;
};

// Pixels of a sequence parameter set.
double sps_pixels(std::string_view unit) {
  UnitBits in(unit);
  in.skip(16 + 4);
  const std::uint32_t layers = in.take(3);  // less one
  in.skip(1 + 96);
  bool profile[8] = {}, level[8] = {};
  for (std::uint32_t i = 0; i < layers; ++i) profile[i] = in.take(1) != 0, level[i] = in.take(1) != 0;
  if (layers > 0) in.skip(2 * (8 - layers));
  for (std::uint32_t i = 0; i < layers; ++i) in.skip((profile[i] ? 88 : 0) + (level[i] ? 8 : 0));
  in.exp_golomb();
  if (in.exp_golomb() == 3) in.skip(1);
  const double width = in.exp_golomb(), height = in.exp_golomb();
  return width * height;
}

unsigned byte_at(const std::string& bytes, std::size_t at) {
  return at < bytes.size() ? static_cast<unsigned char>(bytes[at]) : 0xd9;  // the end, where bytes end
}

}  // namespace

int jpeg_scans(const std::string& bytes) {
  int scans = 0;
  for (std::size_t at = 2;;) {
    at = bytes.find('\xff', at);
    if (at == std::string::npos) return scans;
    const unsigned marker = byte_at(bytes, ++at);
    if (marker == 0xff) continue;
    ++at;
    if (marker == 0xd9) return scans;
    if (marker == 0xda) ++scans;
    const bool alone = marker == 0 || marker == 0x01 || (marker >= 0xd0 && marker <= 0xd8);
    if (!alone) at += byte_at(bytes, at) << 8 | byte_at(bytes, at + 1);  // its length
  }
}

PhotoSize tiff_size(const PhotoBytes& photo) {
  const FirstDirectory directory(photo.bytes);
  std::uint32_t width = 0, height = 0, samples = 1;
  directory.for_each([&](std::uint32_t tag, std::size_t at) {  // of a tag that stands twice the larger value
    if (tag == kWidth) width = std::max(width, directory.value(at));
    if (tag == kLength) height = std::max(height, directory.value(at));
    if (tag == kSamples) samples = std::max(samples, directory.value(at));
  });
  if (samples > 4) throw PhotoError(photo.path, "has an unusual colour layout");
  check_photo_size(photo, width, height);
  return {static_cast<int>(width), static_cast<int>(height)};
}

PhotoSize webp_size(const PhotoBytes& photo) {
  WebPBitstreamFeatures features{};
  if (WebPGetFeatures(reinterpret_cast<const std::uint8_t*>(photo.bytes.data()), photo.bytes.size(),
                      &features) != VP8_STATUS_OK) {
    throw PhotoError(photo.path, "is cut short or damaged");
  }
  if (features.has_animation) throw PhotoError(photo.path, "is a moving picture");
  check_photo_size(photo, features.width, features.height);
  return {features.width, features.height};
}

double hevc_pixels(const std::string& bytes) {
  constexpr unsigned kSequenceParameters = 33;
  const auto number = [&](std::size_t at) {
    return std::size_t{byte_at(bytes, at)} << 8 | byte_at(bytes, at + 1);
  };
  double most = 0;
  for (std::size_t box = 0; (box = bytes.find("hvcC", box)) != std::string::npos; box += 4) {
    std::size_t at = box + 4 + 22;
    unsigned arrays = byte_at(bytes, at++);
    for (; arrays > 0 && at < bytes.size(); --arrays) {
      const unsigned type = byte_at(bytes, at) & 0x3f;
      std::size_t units = number(at + 1);
      at += 3;
      for (; units > 0 && at + 2 < bytes.size(); --units) {
        const std::size_t length = number(at);
        if (type == kSequenceParameters && at + 2 + length <= bytes.size())
          most = std::max(most, sps_pixels(std::string_view(bytes).substr(at + 2, length)));
        at += 2 + length;
      }
    }
  }
  return most;
}

std::string tiff_without_orientation(const PhotoBytes& photo) {
  std::string bytes = photo.bytes;
  const FirstDirectory directory(photo.bytes);
  directory.for_each([&](std::uint32_t tag, std::size_t at) {
    if (tag != kOrientation) return;
    bytes[at] = directory.little() ? 1 : 0;
    bytes[at + 1] = directory.little() ? 0 : 1;
  });
  return bytes;
}

}  // namespace interstice::camera
