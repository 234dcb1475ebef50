// The photos of a folder as a sensor of four times the pixels behind the same lens would give them: sides doubled
// by cubics, noise of two grey levels put on every pixel, JPEG of quality 90, metadata (the first APP1) kept.
// enlarge_photos PHOTOS OUT
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "camera/photo.h"

namespace {

constexpr double kNoise = 2;

std::string read_bytes(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

// The whole APP1 segment after the start of the image; empty where there is none.
std::string first_metadata(const std::string& jpeg) {
  if (jpeg.size() < 6 || jpeg.compare(2, 2, "\xff\xe1") != 0) return "";
  const auto byte = [&](std::size_t at) {
    return static_cast<std::size_t>(static_cast<unsigned char>(jpeg[at]));
  };
  return jpeg.substr(2, 2 + (byte(4) << 8 | byte(5)));
}

cv::Mat enlarged(const cv::Mat& picture) {
  cv::Mat large, wide, noise;
  cv::resize(picture, large, {}, 2, 2, cv::INTER_CUBIC);
  large.convertTo(wide, CV_16SC3);
  noise.create(large.size(), CV_16SC3);
  cv::randn(noise, cv::Scalar::all(0), cv::Scalar::all(kNoise));
  wide += noise;
  wide.convertTo(large, CV_8UC3);
  return large;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 3) {
    std::fputs("enlarge_photos PHOTOS OUT\n", stderr);
    return 2;
  }
  try {
    const std::filesystem::path out = argv[2];
    std::filesystem::create_directories(out);
    cv::setRNGSeed(7);
    for (const auto& path : interstice::camera::list_photos(argv[1])) {
      const cv::Mat picture =
          interstice::camera::read_photo_colour(interstice::camera::read_photo_info(path));
      std::vector<unsigned char> jpeg;
      cv::imencode(".jpg", enlarged(picture), jpeg, {cv::IMWRITE_JPEG_QUALITY, 90});
      const std::string bytes(jpeg.begin(), jpeg.end());
      std::ofstream file(out / (path.stem().string() + ".jpg"), std::ios::binary);
      file << bytes.substr(0, 2) << first_metadata(read_bytes(path)) << bytes.substr(2);
    }
  } catch (const std::exception& e) {
    std::fprintf(stderr, "enlarge_photos: %s\n", e.what());
    return 2;
  }
  return 0;
}
