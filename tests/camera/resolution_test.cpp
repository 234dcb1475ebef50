// What files say of their resolution, from headers made byte by byte as the standards lay them out.
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "camera/picture_resolution.h"
#include "core/errors.h"

namespace interstice {
namespace {

std::string big_endian(unsigned value, int bytes) {
  std::string out;
  for (int k = bytes - 1; k >= 0; --k) out += static_cast<char>(value >> (8 * k) & 255u);
  return out;
}

std::string png_with(const std::string& chunk_kind, const std::string& chunk) {
  const std::string zero(4, '\0');
  return std::string("\x89PNG\r\n\x1a\n", 8) + big_endian(13, 4) + "IHDR" + std::string(13, '\1') + zero +
         big_endian(static_cast<unsigned>(chunk.size()), 4) + chunk_kind + chunk + zero + zero + "IEND" +
         zero;
}

std::string jpeg_with(int unit, unsigned across, unsigned down) {
  return std::string("\xff\xd8\xff\xe0\0\x10JFIF\0\1\1", 13) + static_cast<char>(unit) +
         big_endian(across, 2) + big_endian(down, 2) + std::string(2, '\0') + "\xff\xd9";
}

std::optional<double> read(const std::string& bytes) {
  const std::filesystem::path path =
      std::filesystem::path(testing::TempDir()) / ("interstice_dpi_" + std::to_string(::getpid()));
  std::ofstream(path, std::ios::binary) << bytes;
  struct Removed {
    std::filesystem::path path;
    ~Removed() { std::filesystem::remove(path); }
  } removed{path};
  return camera::resolution_dpi(path);
}

// 300 dots per inch are 11811 a metre (0.0254 m an inch, exact): 299.9994.
TEST(PictureResolution, Png) {
  EXPECT_NEAR(*read(png_with("pHYs", big_endian(11811, 4) + big_endian(11811, 4) + "\1")), 299.9994, 1e-3);
  EXPECT_FALSE(read(png_with("pHYs", big_endian(11811, 4) + big_endian(11811, 4) + std::string(1, '\0'))));
  EXPECT_FALSE(read(png_with("tEXt", "Title")));
}

TEST(PictureResolution, Jfif) {
  EXPECT_NEAR(*read(jpeg_with(1, 600, 600)), 600, 1e-9);
  EXPECT_NEAR(*read(jpeg_with(2, 118, 118)), 299.72, 1e-2);  // dots a centimetre
  EXPECT_FALSE(read(jpeg_with(0, 1, 1)));                    // an aspect only
}

TEST(PictureResolution, DifferentAcrossAndDownIsRefused) {
  try {
    read(jpeg_with(1, 300, 600));
    FAIL();
  } catch (const core::InputError& e) {
    EXPECT_NE(std::string(e.what()).find("has 300 dots per inch across and 600 down"), std::string::npos);
  }
}

}  // namespace
}  // namespace interstice
