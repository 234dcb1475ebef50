// What a picture costs is told from the data that are decoded, before they are.
#include <gtest/gtest.h>
#include <libheif/heif.h>
#include <unistd.h>

#include <fstream>
#include <memory>
#include <opencv2/imgcodecs.hpp>

#include "camera/encoded.h"
#include "camera/photo.h"
#include "camera/photo_limits.h"

namespace interstice {
namespace {

using testing_support::encoded;

namespace fs = std::filesystem;

cv::Mat noise(int width, int height) {
  cv::Mat picture(height, width, CV_8UC3);
  cv::RNG random(3);
  random.fill(picture, cv::RNG::UNIFORM, 0, 255);
  return picture;
}

class PhotoLimits : public testing::Test {
 protected:
  fs::path put(const std::string& name, const std::string& bytes) {
    path_ = fs::path(testing::TempDir()) / (std::to_string(::getpid()) + name);
    std::ofstream(path_, std::ios::binary) << bytes;
    return path_;
  }
  void TearDown() override { fs::remove(path_); }
  std::string refused(const std::string& name, const std::string& bytes) {
    try {
      camera::read_photo_colour(camera::read_photo_info(put(name, bytes)));
    } catch (const camera::PhotoError& e) {
      return e.reason();
    }
    return "";
  }
  fs::path path_;
};

std::string number(std::uint32_t x, int bytes) {
  std::string out;
  for (; bytes > 0; --bytes, x >>= 8) out += static_cast<char>(x & 0xff);
  return out;
}

// A grey TIFF of 48 x 32 with a second directory that says it is the whole picture and has another size, as
// raw converters write it the other way round.
std::string tiff_of_two(std::uint32_t other_width, std::uint32_t other_height) {
  const std::uint32_t width = 48, height = 32, pixels = 8;
  std::string out =
      "II*" + std::string(1, '\0') + number(8 + width * height, 4) + std::string(width * height, 'g');
  const auto entry = [](std::uint32_t tag, std::uint32_t value) {
    return number(tag, 2) + number(4, 2) + number(1, 4) + number(value, 4);
  };
  const auto directory = [&](std::uint32_t reduced, std::uint32_t w, std::uint32_t h, std::uint32_t below) {
    std::string d = number(below ? 10 : 9, 2) + entry(254, reduced) + entry(256, w) + entry(257, h) +
                    entry(258, 8) + entry(259, 1) + entry(262, 1) + entry(273, pixels) + entry(278, h) +
                    entry(279, w * h);
    if (below) d += entry(330, below);
    return d + number(0, 4);
  };
  const auto after = static_cast<std::uint32_t>(out.size() + 2 + 10 * 12 + 4);
  return out + directory(1, width, height, after) + directory(0, other_width, other_height, 0);
}

TEST_F(PhotoLimits, ATiffsSizeIsThatOfThePictureDecoded) {
  for (const auto& [w, h] : {std::pair(8u, 8u), std::pair(40000u, 30000u)}) {
    const camera::PhotoInfo info = camera::read_photo_info(put("two.tif", tiff_of_two(w, h)));
    EXPECT_EQ(info.width, 48);
    EXPECT_EQ(info.height, 32);
    EXPECT_EQ(camera::read_photo_grey(info).size(), cv::Size(48, 32));
  }
  std::string large = tiff_of_two(8, 8);
  const std::size_t width = large.find(number(256, 2) + number(4, 2) + number(1, 4)) + 8;
  large.replace(width, 4, number(40000000, 4));
  EXPECT_NE(refused("large.tif", large).find("the limit is 200 megapixels"), std::string::npos)
      << refused("large.tif", large);
}

TEST_F(PhotoLimits, AWebpsSizeIsThatOfItsBitstream) {
  const std::string webp = encoded(".webp", noise(60, 40));
  const camera::PhotoInfo info = camera::read_photo_info(put("a.webp", webp));
  EXPECT_EQ(info.width, 60);
  EXPECT_EQ(info.height, 40);
  EXPECT_EQ(camera::read_photo_colour(info).size(), cv::Size(60, 40));
  EXPECT_NE(refused("cut.webp", webp.substr(0, 25)), "");
}

// What a HEIC's header says of its size is not what is decoded.
TEST_F(PhotoLimits, AHeicsSizeIsThatOfItsData) {
  const std::unique_ptr<heif_context, void (*)(heif_context*)> context(heif_context_alloc(),
                                                                       heif_context_free);
  heif_encoder* encoder = nullptr;
  if (heif_context_get_encoder_for_format(context.get(), heif_compression_HEVC, &encoder).code !=
      heif_error_Ok)
    GTEST_SKIP() << "this libheif cannot write HEIC";
  const int width = 1602, height = 1000;
  heif_image* image = nullptr;
  heif_image_create(width, height, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image);
  heif_image_add_plane(image, heif_channel_interleaved, width, height, 8);
  int step = 0;
  uint8_t* plane = heif_image_get_plane(image, heif_channel_interleaved, &step);
  std::fill_n(plane, step * height, uint8_t{90});
  ASSERT_EQ(heif_context_encode_image(context.get(), image, encoder, nullptr, nullptr).code, heif_error_Ok);
  heif_writer writer{1, [](heif_context*, const void* data, size_t size, void* to) {
                       static_cast<std::string*>(to)->append(static_cast<const char*>(data), size);
                       return heif_error{heif_error_Ok, heif_suberror_Unspecified, ""};
                     }};
  std::string heic;
  heif_context_write(context.get(), &writer, &heic);
  heif_image_release(image);
  heif_encoder_release(encoder);
  // HEVC codes whole units of 8 pixels at least (log2_min_luma_coding_block_size of 3, H.265, 7.4.3.2.1).
  EXPECT_NEAR(camera::hevc_pixels(heic), width * height, 0.02 * width * height);
  EXPECT_GE(camera::hevc_pixels(heic), width * height);
  EXPECT_EQ(refused("whole.heic", heic), "");
  const std::size_t size = heic.find("ispe") + 8;
  ASSERT_EQ(heic.substr(size, 4), std::string("\0\0\x06\x42", 4));
  heic.replace(size, 8, std::string("\0\0\0\x40\0\0\0\x40", 8));
  EXPECT_EQ(refused("lies.heic", heic), "is larger than its header says");
}

// Every pass over a progressive JPEG costs as much as decoding it whole.
TEST_F(PhotoLimits, ProgressiveJpegsOfManyScans) {
  const std::string jpeg = encoded(".jpg", noise(64, 48), {cv::IMWRITE_JPEG_PROGRESSIVE, 1});
  const int usual = camera::jpeg_scans(jpeg);
  EXPECT_GE(usual, 6);
  EXPECT_LE(usual, 12);
  EXPECT_EQ(camera::jpeg_scans(encoded(".jpg", noise(64, 48))), 1);
  // A thumbnail's scans and what follows the picture's end do not count.
  const std::string thumbnail = encoded(".jpg", noise(16, 16));
  const std::string length{static_cast<char>((thumbnail.size() + 2) >> 8),
                           static_cast<char>((thumbnail.size() + 2) & 255)};
  EXPECT_EQ(
      camera::jpeg_scans(jpeg.substr(0, 2) + "\xff\xe1" + length + thumbnail + jpeg.substr(2) + thumbnail),
      usual);
  EXPECT_EQ(refused("usual.jpg", jpeg), "");
  const std::size_t last = jpeg.rfind("\xff\xda"), end = jpeg.rfind("\xff\xd9");
  std::string many = jpeg.substr(0, end);
  for (int i = 0; i < 100; ++i) many += jpeg.substr(last, end - last);
  EXPECT_NE(refused("many.jpg", many + "\xff\xd9").find("passes over its picture"), std::string::npos);
}

}  // namespace
}  // namespace interstice
