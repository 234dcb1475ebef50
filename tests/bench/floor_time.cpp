// The floor under any inspection of a folder of photos: decode every photo once, in colour, and read every
// pixel once. Prints CPU seconds of both: { "decode_cpu_s", "read_cpu_s", "photos", "megapixels" }.
#include <cstdio>
#include <ctime>
#include <opencv2/core.hpp>

#include "camera/photo.h"

namespace {

double cpu_s() {
  timespec t{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fputs("floor_time PHOTOS\n", stderr);
    return 2;
  }
  try {
    double decode = 0, read = 0, pixels = 0;
    unsigned long sum = 0;
    std::size_t photos = 0;
    for (const auto& path : interstice::camera::list_photos(argv[1])) {
      const interstice::camera::PhotoInfo info = interstice::camera::read_photo_info(path);
      const double start = cpu_s();
      const cv::Mat picture = interstice::camera::read_photo_colour(info);
      const double decoded = cpu_s();
      for (int y = 0; y < picture.rows; ++y) {
        const uchar* row = picture.ptr(y);
        for (int x = 0; x < 3 * picture.cols; ++x) sum += row[x];
      }
      read += cpu_s() - decoded;
      decode += decoded - start;
      pixels += static_cast<double>(picture.total());
      ++photos;
    }
    std::printf(
        "{\"decode_cpu_s\": %.4f, \"read_cpu_s\": %.4f, \"photos\": %zu, \"megapixels\": %.2f, \"sum\": "
        "%lu}\n",
        decode, read, photos, pixels / 1e6, sum);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "floor_time: %s\n", e.what());
    return 2;
  }
  return 0;
}
