#include <libheif/heif.h>
#include <turbojpeg.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <exiv2/exiv2.hpp>
#include <memory>
#include <mutex>
#include <opencv2/core/utils/logger.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "camera/photo_file.h"
#include "camera/photo_limits.h"
#include "core/files.h"
#include "core/memory_budget.h"

namespace interstice::camera {
namespace {

constexpr std::uintmax_t kMaxPhotoBytes = 1u << 30;

// Usual progressive JPEGs have ten scans. A decoder goes over the whole picture in each: 4e9 pixels are half
// a minute.
constexpr int kMaxJpegScans = 100;
constexpr double kMaxScannedPixels = 4e9;

const unsigned char* data_of(const PhotoBytes& photo) {
  return reinterpret_cast<const unsigned char*>(photo.bytes.data());
}

// --- JPEG -------------------------------------------------------------------------------------------------

using TurboJpeg = std::unique_ptr<void, int (*)(tjhandle)>;

struct JpegHeader {
  int width = 0, height = 0, subsampling = 0, colour_space = 0;
};

JpegHeader read_jpeg_header(const PhotoBytes& photo, tjhandle jpeg) {
  JpegHeader h;
  const auto size = static_cast<unsigned long>(photo.bytes.size());
  if (tjDecompressHeader3(jpeg, data_of(photo), size, &h.width, &h.height, &h.subsampling, &h.colour_space) !=
          0 &&
      (tjGetErrorCode(jpeg) == TJERR_FATAL || h.width < 1)) {
    throw PhotoError(photo.path, "is a JPEG cut short or damaged in its header");
  }
  check_photo_size(photo, h.width, h.height);
  const int scans = jpeg_scans(photo.bytes);
  if (scans > kMaxJpegScans || scans * static_cast<double>(h.width) * h.height > kMaxScannedPixels) {
    throw PhotoError(photo.path, "is a JPEG of " + std::to_string(scans) +
                                     " passes over its picture, more than any camera writes; save it anew");
  }
  return h;
}

// The decoder goes on over damage and leaves grey or shifted blocks; its warnings are what tells.
[[noreturn]] void fail_jpeg(const PhotoBytes& photo, const std::string& warning) {
  const bool cut = warning.find("remature end of JPEG") != std::string::npos ||
                   warning.find("remature end of input") != std::string::npos;
  throw PhotoError(photo.path, cut ? "is cut short: the picture's data end too early; copy the photo again"
                                   : "is damaged: its picture data do not decode; copy the photo again");
}

cv::Mat decode_jpeg(const PhotoBytes& photo, bool colour, int reduced) {
  const TurboJpeg jpeg(tjInitDecompress(), tjDestroy);
  if (!jpeg) throw PhotoError(photo.path, "cannot be decoded");
  const JpegHeader header = read_jpeg_header(photo, jpeg.get());
  const bool cmyk = header.colour_space == TJCS_CMYK || header.colour_space == TJCS_YCCK;
  const int format = cmyk ? TJPF_CMYK : (colour ? TJPF_BGR : TJPF_GRAY);
  const tjscalingfactor scale{1, reduced};
  cv::Mat picture(TJSCALED(header.height, scale), TJSCALED(header.width, scale), CV_8UC(tjPixelSize[format]));
  const int status =
      tjDecompress2(jpeg.get(), data_of(photo), static_cast<unsigned long>(photo.bytes.size()), picture.data,
                    picture.cols, static_cast<int>(picture.step), picture.rows, format, TJFLAG_ACCURATEDCT);
  // Stray bytes between segments are common and harmless, unless they are what is left of data without an
  // end: of several complaints only the last is told. Every other complaint is a damaged picture.
  const std::string complaint = status == 0 ? "" : tjGetErrorStr2(jpeg.get());
  const std::size_t scan = photo.bytes.rfind("\xff\xda"), end = photo.bytes.rfind("\xff\xd9");
  const bool ends = end != std::string::npos && scan != std::string::npos && end > scan;
  if (!complaint.empty() && (complaint.find("extraneous bytes") == std::string::npos || !ends))
    fail_jpeg(photo, ends ? complaint : "Premature end of JPEG");
  if (!cmyk) return picture;

  // Four-colour JPEGs are stored inverted: 255 is no ink, so a channel is its ink times the black.
  cv::Mat bgr(picture.size(), CV_8UC3);
  for (int y = 0; y < picture.rows; ++y) {
    const auto* from = picture.ptr<cv::Vec4b>(y);
    auto* to = bgr.ptr<cv::Vec3b>(y);
    for (int x = 0; x < picture.cols; ++x) {
      for (int c = 0; c < 3; ++c) to[x][c] = static_cast<uchar>((from[x][2 - c] * from[x][3] + 127) / 255);
    }
  }
  if (colour) return bgr;
  cv::Mat grey;
  cv::cvtColor(bgr, grey, cv::COLOR_BGR2GRAY);
  return grey;
}

// --- HEIF -------------------------------------------------------------------------------------------------

struct HeifFile {
  std::unique_ptr<heif_context, void (*)(heif_context*)> context{heif_context_alloc(), heif_context_free};
  std::unique_ptr<const heif_image_handle, void (*)(const heif_image_handle*)> picture{
      nullptr, heif_image_handle_release};
};

HeifFile open_heif(const PhotoBytes& photo) {
  HeifFile file;
  heif_error error = heif_context_read_from_memory_without_copy(file.context.get(), photo.bytes.data(),
                                                                photo.bytes.size(), nullptr);
  heif_image_handle* handle = nullptr;
  if (error.code == heif_error_Ok) error = heif_context_get_primary_image_handle(file.context.get(), &handle);
  if (error.code != heif_error_Ok) throw PhotoError(photo.path, "is a HEIC picture cut short or damaged");
  file.picture.reset(handle);
  return file;
}

PhotoSize heif_size(const PhotoBytes& photo, const HeifFile& file) {
  // The size before the file's own turning boxes.
  const PhotoSize size{heif_image_handle_get_ispe_width(file.picture.get()),
                       heif_image_handle_get_ispe_height(file.picture.get())};
  check_photo_size(photo, size.width, size.height);
  // What is decoded is as large as the data themselves say. A tile may stand out over the picture's edge; a
  // small picture may be one tile of a megapixel.
  if (hevc_pixels(photo.bytes) > std::max(1e6, 1.5 * size.width * static_cast<double>(size.height))) {
    throw PhotoError(photo.path, "is larger than its header says");
  }
  return size;
}

cv::Mat decode_heif(const PhotoBytes& photo) {
  const HeifFile file = open_heif(photo);
  heif_size(photo, file);
  const std::unique_ptr<heif_decoding_options, void (*)(heif_decoding_options*)> options(
      heif_decoding_options_alloc(), heif_decoding_options_free);
  options->ignore_transformations = 1;  // sensor orientation
  options->convert_hdr_to_8bit = 1;
  heif_image* decoded = nullptr;
  const heif_error error = heif_decode_image(file.picture.get(), &decoded, heif_colorspace_RGB,
                                             heif_chroma_interleaved_RGB, options.get());
  const std::unique_ptr<heif_image, void (*)(const heif_image*)> image(decoded, heif_image_release);
  if (error.code != heif_error_Ok || !image) {
    throw PhotoError(photo.path, "is a HEIC picture cut short or damaged; copy the photo again");
  }
  int step = 0;
  auto* plane = heif_image_get_plane(image.get(), heif_channel_interleaved, &step);
  const int width = heif_image_get_width(image.get(), heif_channel_interleaved);
  const int height = heif_image_get_height(image.get(), heif_channel_interleaved);
  if (!plane || width < 1 || height < 1) throw PhotoError(photo.path, "is a HEIC picture without pixels");
  const cv::Mat rgb(height, width, CV_8UC3, plane, static_cast<std::size_t>(step));
  cv::Mat bgr;
  cv::cvtColor(rgb, bgr, cv::COLOR_RGB2BGR);
  return bgr;
}

// --- everything else --------------------------------------------------------------------------------------

std::uint32_t big_endian(const std::string& bytes, std::size_t at) {
  std::uint32_t v = 0;
  for (std::size_t i = 0; i < 4; ++i) v = v << 8 | static_cast<unsigned char>(bytes[at + i]);
  return v;
}

PhotoSize png_size(const PhotoBytes& photo) {
  if (photo.bytes.size() < 33 || photo.bytes.compare(12, 4, "IHDR") != 0) {
    throw PhotoError(photo.path, "is a PNG picture cut short or damaged");
  }
  check_photo_size(photo, big_endian(photo.bytes, 16), big_endian(photo.bytes, 20));
  return {static_cast<int>(big_endian(photo.bytes, 16)), static_cast<int>(big_endian(photo.bytes, 20))};
}

// Walks the chunks: the decoder itself accepts a picture that ends early.
void check_png_complete(const PhotoBytes& photo) {
  std::size_t at = 8;
  while (at + 12 <= photo.bytes.size()) {
    if (photo.bytes.compare(at + 4, 4, "IEND") == 0) return;
    at += std::size_t{12} + big_endian(photo.bytes, at);
  }
  throw PhotoError(photo.path, "is cut short: the picture's data end too early; copy the photo again");
}

cv::Mat decode_with_opencv(const PhotoBytes& photo) {
  cv::Mat picture;
  try {
    const std::string upright =
        photo.kind == PhotoKind::tiff ? tiff_without_orientation(photo) : std::string();
    const std::string& source = upright.empty() ? photo.bytes : upright;
    const cv::Mat bytes(1, static_cast<int>(source.size()), CV_8UC1, const_cast<char*>(source.data()));
    picture = cv::imdecode(bytes, cv::IMREAD_UNCHANGED);  // the one mode that neither turns nor converts
  } catch (const cv::Exception&) {
    picture.release();
  }
  if (picture.empty()) throw PhotoError(photo.path, "is cut short or damaged; copy the photo again");
  if (picture.depth() == CV_16U) picture.convertTo(picture, CV_8U, 1.0 / 257.0);
  if (picture.depth() != CV_8U) throw PhotoError(photo.path, "has neither 8 nor 16 bits a channel");
  return picture;
}

cv::Mat with_channels(const cv::Mat& picture, bool colour, const PhotoBytes& photo) {
  const int channels = picture.channels();
  if (channels != 1 && channels != 3 && channels != 4)
    throw PhotoError(photo.path, "has an unusual colour layout");
  if (channels == (colour ? 3 : 1)) return picture;
  cv::Mat out;
  const int code = channels == 1   ? cv::COLOR_GRAY2BGR
                   : channels == 3 ? cv::COLOR_BGR2GRAY
                   : colour        ? cv::COLOR_BGRA2BGR
                                   : cv::COLOR_BGRA2GRAY;
  cv::cvtColor(picture, out, code);
  return out;
}

bool starts(const std::string& bytes, std::size_t at, const char* text, std::size_t length) {
  return bytes.size() >= at + length && std::memcmp(bytes.data() + at, text, length) == 0;
}

// What decoding takes beside the file itself: the picture as it comes out and on the way there. A progressive
// JPEG is kept whole as coefficients, HEIC as planes of up to 16 bits, TIFF and PNG of 16 bits before they
// are 8.
double bytes_a_pixel(const PhotoBytes& photo) {
  if (photo.kind == PhotoKind::jpeg) return jpeg_scans(photo.bytes) > 1 ? 9 : 3;
  return 12;
}

}  // namespace

void check_photo_size(const PhotoBytes& photo, double width, double height) {
  if (width < 1 || height < 1) throw PhotoError(photo.path, "has no picture in it");
  if (width * height > kMaxMegapixels * 1e6) {
    throw PhotoError(photo.path, "is " + std::to_string(static_cast<long>(width)) + " x " +
                                     std::to_string(static_cast<long>(height)) + " pixels; the limit is " +
                                     std::to_string(static_cast<int>(kMaxMegapixels)) + " megapixels");
  }
}

void quiet_image_libraries() {
  static std::once_flag once;
  std::call_once(once, [] {
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    Exiv2::enableBMFF(true);
    Exiv2::XmpParser::initialize();
    cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
  });
}

PhotoBytes read_photo_bytes(const std::filesystem::path& path) {
  quiet_image_libraries();
  PhotoBytes photo;
  photo.path = path;
  try {
    photo.bytes = core::read_file(path, kMaxPhotoBytes);
  } catch (const core::InputError& e) {  // too large, not readable: one photo's fault, not the folder's
    const std::string line = e.what(), front = path.string() + ": ";
    throw PhotoError(path, line.rfind(front, 0) == 0 ? line.substr(front.size()) : line);
  }
  const std::string& b = photo.bytes;
  if (b.empty()) throw PhotoError(path, "is empty (0 bytes); copy the photo again");
  if (starts(b, 0, "\xff\xd8\xff", 3))
    photo.kind = PhotoKind::jpeg;
  else if (starts(b, 0, "\x89PNG\r\n\x1a\n", 8))
    photo.kind = PhotoKind::png;
  else if (starts(b, 0, "II*\0", 4) || starts(b, 0, "MM\0*", 4))
    photo.kind = PhotoKind::tiff;
  else if (starts(b, 0, "RIFF", 4) && starts(b, 8, "WEBP", 4))
    photo.kind = PhotoKind::webp;
  else if (starts(b, 4, "ftyp", 4))
    photo.kind = PhotoKind::heif;
  else
    throw PhotoError(path, "is not a picture this program reads (JPEG, HEIC, PNG, TIFF, WebP)");
  return photo;
}

PhotoSize photo_size(const PhotoBytes& photo) {
  switch (photo.kind) {
    case PhotoKind::jpeg: {
      const TurboJpeg jpeg(tjInitDecompress(), tjDestroy);
      const JpegHeader header = read_jpeg_header(photo, jpeg.get());
      return {header.width, header.height};
    }
    case PhotoKind::heif:
      return heif_size(photo, open_heif(photo));
    case PhotoKind::png:
      return png_size(photo);
    case PhotoKind::tiff:
      return tiff_size(photo);
    default:
      return webp_size(photo);
  }
}

cv::Mat decode_photo(const PhotoBytes& photo, bool colour, int reduced) {
  static core::MemoryBudget budget(core::memory_for_decoding());
  const PhotoSize size = photo_size(photo);  // refuses absurd sizes before memory is asked for
  const core::MemoryBudget::Share share(
      budget, photo.bytes.size() + static_cast<std::uint64_t>(bytes_a_pixel(photo) * size.width *
                                                              static_cast<double>(size.height)));
  if (photo.kind == PhotoKind::jpeg) return decode_jpeg(photo, colour, reduced);
  if (photo.kind == PhotoKind::png) check_png_complete(photo);
  cv::Mat picture = with_channels(
      photo.kind == PhotoKind::heif ? decode_heif(photo) : decode_with_opencv(photo), colour, photo);
  if (reduced > 1)
    cv::resize(picture, picture, cv::Size(size.width / reduced, size.height / reduced), 0, 0, cv::INTER_AREA);
  return picture;
}

}  // namespace interstice::camera
