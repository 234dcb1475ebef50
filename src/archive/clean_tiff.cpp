// TIFF 6.0: the first picture's samples are decoded, written into a new file and packed without loss.
#include <tiffio.h>

#include <array>
#include <cstring>
#include <memory>
#include <vector>

#include "archive/picture_parts.h"
#include "core/errors.h"

namespace interstice::archive {
namespace {

constexpr std::uint64_t kMaxBlock = std::uint64_t{1} << 30;  // bytes of one strip or tile, decoded
constexpr double kMaxPixels = 200e6;                         // as pictures that are measured from

// A file in memory as libtiff wants it.
struct MemoryFile {
  std::string bytes;
  std::uint64_t at = 0;
};

tmsize_t read_memory(thandle_t handle, void* to, tmsize_t length) {
  auto& file = *static_cast<MemoryFile*>(handle);
  if (file.at >= file.bytes.size() || length <= 0) return 0;
  const std::size_t n = std::min(static_cast<std::size_t>(length), file.bytes.size() - file.at);
  std::memcpy(to, file.bytes.data() + file.at, n);
  file.at += n;
  return static_cast<tmsize_t>(n);
}

tmsize_t write_memory(thandle_t handle, void* from, tmsize_t length) {
  auto& file = *static_cast<MemoryFile*>(handle);
  const auto n = static_cast<std::size_t>(length);
  if (file.bytes.size() < file.at + n) file.bytes.resize(file.at + n);
  std::memcpy(file.bytes.data() + file.at, from, n);
  file.at += n;
  return length;
}

toff_t seek_memory(thandle_t handle, toff_t offset, int whence) {
  auto& file = *static_cast<MemoryFile*>(handle);
  const std::uint64_t from = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? file.at : file.bytes.size();
  return file.at = from + offset;
}

toff_t size_memory(thandle_t handle) {
  return static_cast<MemoryFile*>(handle)->bytes.size();
}
int close_memory(thandle_t) {
  return 0;
}

using Tiff = std::unique_ptr<TIFF, void (*)(TIFF*)>;

Tiff open_memory(MemoryFile& file, const char* mode) {
  TIFFSetErrorHandler(nullptr);
  TIFFSetWarningHandler(nullptr);
  // "m": no mapping; the bytes are in memory already.
  Tiff tiff(TIFFClientOpen("picture", mode, &file, read_memory, write_memory, seek_memory, close_memory,
                           size_memory, nullptr, nullptr),
            TIFFClose);
  if (!tiff) throw Damaged();
  return tiff;
}

// Sixteen-bit tags of the picture's structure. Compression is our own.
constexpr std::array<std::uint32_t, 7> kShortTags{
    TIFFTAG_BITSPERSAMPLE, TIFFTAG_SAMPLESPERPIXEL, TIFFTAG_PHOTOMETRIC,   TIFFTAG_PLANARCONFIG,
    TIFFTAG_SAMPLEFORMAT,  TIFFTAG_ORIENTATION,     TIFFTAG_RESOLUTIONUNIT};

void refuse_unusual(TIFF* from, const std::string& file) {
  std::uint16_t compression = 1, photometric = 1;
  TIFFGetFieldDefaulted(from, TIFFTAG_COMPRESSION, &compression);
  TIFFGetField(from, TIFFTAG_PHOTOMETRIC, &photometric);
  const bool plain = photometric == PHOTOMETRIC_MINISWHITE || photometric == PHOTOMETRIC_MINISBLACK ||
                     photometric == PHOTOMETRIC_RGB || photometric == PHOTOMETRIC_PALETTE ||
                     photometric == PHOTOMETRIC_SEPARATED || photometric == PHOTOMETRIC_CIELAB;
  const bool exact = compression == COMPRESSION_NONE || compression == COMPRESSION_LZW ||
                     compression == COMPRESSION_ADOBE_DEFLATE || compression == COMPRESSION_DEFLATE ||
                     compression == COMPRESSION_PACKBITS;
  if (!plain || !exact) {
    throw core::InputError(file,
                           "is a TIFF whose picture is packed in an unusual way; save it as PNG or JPEG");
  }
}

void copy_structure(TIFF* from, TIFF* to) {
  double pixels = 1;
  for (const std::uint32_t tag : {TIFFTAG_IMAGEWIDTH, TIFFTAG_IMAGELENGTH}) {
    std::uint32_t value = 0;
    if (!TIFFGetField(from, tag, &value) || value == 0) throw Damaged();
    TIFFSetField(to, tag, value);
    pixels *= value;
  }
  if (pixels > kMaxPixels) throw Damaged();
  for (const std::uint32_t tag : kShortTags) {
    std::uint16_t value = 0;
    if (TIFFGetField(from, tag, &value)) TIFFSetField(to, tag, value);
  }
  float resolution = 0;
  for (const std::uint32_t tag : {TIFFTAG_XRESOLUTION, TIFFTAG_YRESOLUTION}) {
    if (TIFFGetField(from, tag, &resolution)) TIFFSetField(to, tag, resolution);
  }
  std::uint16_t extra = 0, *kinds = nullptr;
  if (TIFFGetField(from, TIFFTAG_EXTRASAMPLES, &extra, &kinds))
    TIFFSetField(to, TIFFTAG_EXTRASAMPLES, extra, kinds);
  std::uint16_t *red = nullptr, *green = nullptr, *blue = nullptr;
  if (TIFFGetField(from, TIFFTAG_COLORMAP, &red, &green, &blue))
    TIFFSetField(to, TIFFTAG_COLORMAP, red, green, blue);
  TIFFSetField(to, TIFFTAG_COMPRESSION, COMPRESSION_ADOBE_DEFLATE);
  std::uint32_t size = 0;
  if (TIFFIsTiled(from)) {
    for (const std::uint32_t tag : {TIFFTAG_TILEWIDTH, TIFFTAG_TILELENGTH}) {
      if (TIFFGetField(from, tag, &size)) TIFFSetField(to, tag, size);
    }
  } else {
    TIFFGetFieldDefaulted(from, TIFFTAG_ROWSPERSTRIP, &size);
    TIFFSetField(to, TIFFTAG_ROWSPERSTRIP, size);
  }
}

void copy_facts(TIFF* from, TIFF* to, const CameraFacts& facts) {
  if (!facts.make.empty()) TIFFSetField(to, TIFFTAG_MAKE, facts.make.c_str());
  if (!facts.model.empty()) TIFFSetField(to, TIFFTAG_MODEL, facts.model.c_str());
  std::uint32_t length = 0;
  void* bytes = nullptr;
  if (!TIFFGetField(from, TIFFTAG_ICCPROFILE, &length, &bytes)) return;
  const std::optional<std::string> profile = icc_profile({static_cast<const char*>(bytes), length});
  if (profile) {
    TIFFSetField(to, TIFFTAG_ICCPROFILE, static_cast<std::uint32_t>(profile->size()), profile->data());
  }
}

void copy_samples(TIFF* from, TIFF* to) {
  const bool tiled = TIFFIsTiled(from) != 0;
  const std::uint32_t blocks = tiled ? TIFFNumberOfTiles(from) : TIFFNumberOfStrips(from);
  const std::uint64_t most = tiled ? TIFFTileSize64(from) : TIFFStripSize64(from);
  if (most == 0 || most > kMaxBlock) throw Damaged();
  std::vector<unsigned char> block(most);
  const auto room = static_cast<tmsize_t>(most);
  for (std::uint32_t k = 0; k < blocks; ++k) {
    const tmsize_t read = tiled ? TIFFReadEncodedTile(from, k, block.data(), room)
                                : TIFFReadEncodedStrip(from, k, block.data(), room);
    if (read <= 0) throw Damaged();
    const tmsize_t written = tiled ? TIFFWriteEncodedTile(to, k, block.data(), read)
                                   : TIFFWriteEncodedStrip(to, k, block.data(), read);
    if (written < 0) throw Damaged();
  }
}

// Focal lengths stand in a directory of their own, which the first one points to.
void write_exif(TIFF* to, const CameraFacts& facts) {
  TIFFCreateEXIFDirectory(to);
  if (facts.focal_mm) TIFFSetField(to, EXIFTAG_FOCALLENGTH, *facts.focal_mm);
  if (facts.focal_35mm) {
    TIFFSetField(to, EXIFTAG_FOCALLENGTHIN35MMFILM, static_cast<std::uint16_t>(*facts.focal_35mm + 0.5));
  }
  toff_t place = 0;
  if (!TIFFWriteCustomDirectory(to, &place) || !TIFFSetDirectory(to, 0)) throw Damaged();
  TIFFSetField(to, TIFFTAG_EXIFIFD, place);
  if (!TIFFRewriteDirectory(to)) throw Damaged();
}

}  // namespace

std::string clean_tiff(const std::string& picture, const CameraFacts& facts, const std::string& file) {
  MemoryFile source{picture}, target;
  {
    const Tiff from = open_memory(source, "rm");
    refuse_unusual(from.get(), file);
    const Tiff to = open_memory(target, TIFFIsBigEndian(from.get()) ? "wbm" : "wlm");
    copy_structure(from.get(), to.get());
    copy_facts(from.get(), to.get(), facts);
    copy_samples(from.get(), to.get());
    if (!TIFFWriteDirectory(to.get())) throw Damaged();
    if (facts.focal_mm || facts.focal_35mm) write_exif(to.get(), facts);
  }
  return std::move(target.bytes);
}

}  // namespace interstice::archive
