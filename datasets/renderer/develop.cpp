#include "renderer/develop.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <exiv2/exiv2.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/errors.h"
#include "renderer/random.h"

namespace interstice::renderer {

namespace {

constexpr float kMidGrey = 0.18f;
constexpr double kDiagonal35 = 43.267;  // mm, of a 36 x 24 frame
constexpr double kShared = 0.75;        // part of the noise that all colours share after demosaicing

double tone(double linear) {
  const double x = std::clamp(linear, 0.0, 1.0);
  return 255 * (x <= 0.0031308 ? 12.92 * x : 1.055 * std::pow(x, 1 / 2.4) - 0.055);
}

// Nearly normal, from four uniform 16-bit numbers (mean 0, variance 1, cut off at 3.5).
float normal_from(std::uint64_t bits) {
  const std::uint64_t h = mixed(bits);
  const std::uint64_t sum = (h & 0xffff) + ((h >> 16) & 0xffff) + ((h >> 32) & 0xffff) + (h >> 48);
  return (static_cast<float>(sum) * 0x1p-16f - 2.0f) * 1.7320508f;
}

void add_noise(cv::Mat& linear, double grey_levels, std::uint64_t seed) {
  if (grey_levels <= 0) return;
  // Grey levels per unit of linear light at mid grey turn the wanted figure into linear terms; shot noise
  // grows with the root of the light, read noise is a fifth of it at mid grey.
  const double slope = (tone(1.01 * kMidGrey) - tone(0.99 * kMidGrey)) / (0.02 * kMidGrey);
  const auto mid = static_cast<float>(grey_levels / slope);
  const float shared = static_cast<float>(std::sqrt(kShared)),
              own = static_cast<float>(std::sqrt(1 - kShared));
  for (int row = 0; row < linear.rows; ++row) {
    for (int col = 0; col < linear.cols; ++col) {
      const std::uint64_t h =
          mixed(seed ^ (static_cast<std::uint64_t>(row) << 32) ^ static_cast<std::uint64_t>(col));
      const float common = normal_from(h);
      cv::Vec3f& p = linear.at<cv::Vec3f>(row, col);
      for (int k = 0; k < 3; ++k) {
        const float sd = mid * std::sqrt(0.04f + std::max(0.0f, p[k]) * (0.96f / kMidGrey));
        p[k] += sd * (shared * common + own * normal_from(h + 1 + static_cast<std::uint64_t>(k)));
      }
    }
  }
}

// Steeper in the middle, flatter at both ends, mid grey where it was; for parts of white.
double s_shaped(double x, double strength) {
  return x + strength * (x * x * (3 - 2 * x) - x);
}

cv::Mat toned(const cv::Mat& linear, double strength) {
  const int steps = 8192;
  std::vector<float> table(steps + 1);
  for (int i = 0; i <= steps; ++i)
    table[static_cast<std::size_t>(i)] = static_cast<float>(tone(static_cast<double>(i) / steps));
  if (strength > 0) {
    for (float& value : table) value = static_cast<float>(255 * s_shaped(value / 255.0, strength));
  }
  cv::Mat out(linear.size(), CV_32FC3);
  for (int row = 0; row < linear.rows; ++row) {
    const auto* from = linear.ptr<float>(row);
    auto* to = out.ptr<float>(row);
    for (int i = 0; i < 3 * linear.cols; ++i) {
      const float x = std::clamp(from[i], 0.0f, 0.99999f) * steps;
      const auto k = static_cast<std::size_t>(x);
      to[i] = table[k] + (x - static_cast<float>(k)) * (table[k + 1] - table[k]);
    }
  }
  return out;
}

// What a phone makes of code values: noise taken out but for edges, contrast raised over a fortieth of the picture,
// edges sharpened until they have halos.
cv::Mat processed(const cv::Mat& grey, double strength) {
  constexpr int kReach = 5;                            // pixels across
  constexpr double kNoiseLevels = 14, kNear_px = 1.6;  // what counts as alike and near
  constexpr double kLocal = 0.3, kHalo = 0.7, kHalo_px = 1.3;
  cv::Mat smooth, wide, soft;
  cv::bilateralFilter(grey, smooth, kReach, kNoiseLevels, kNear_px);
  cv::Mat out = (1 - strength) * grey + strength * smooth;
  cv::GaussianBlur(out, wide, {0, 0}, out.cols / 40.0);
  std::vector<cv::Mat> colours;
  cv::split(out - wide, colours);
  const cv::Mat lightness = 0.114 * colours[0] + 0.587 * colours[1] + 0.299 * colours[2];  // BT.601
  cv::Mat local;
  cv::merge(std::vector<cv::Mat>(3, strength * kLocal * lightness), local);
  out += local;
  cv::GaussianBlur(out, soft, {0, 0}, kHalo_px);
  return (1 + strength * kHalo) * out - strength * kHalo * soft;
}

}  // namespace

cv::Mat smeared(const cv::Mat& linear, const Eigen::Vector2d& line) {
  if (line.isZero(0)) return linear;
  const int reach = 1 + static_cast<int>(std::ceil(0.5 * line.norm()));
  cv::Mat kernel = cv::Mat::zeros(2 * reach + 1, 2 * reach + 1, CV_32FC1);
  const int parts = 64;
  for (int k = 0; k < parts; ++k) {
    const Eigen::Vector2d p = Eigen::Vector2d::Constant(reach) + ((k + 0.5) / parts - 0.5) * line;
    const int col = static_cast<int>(p.x()), row = static_cast<int>(p.y());
    const auto x = static_cast<float>(p.x() - col), y = static_cast<float>(p.y() - row);
    kernel.at<float>(row, col) += (1 - x) * (1 - y) / parts;
    kernel.at<float>(row, col + 1) += x * (1 - y) / parts;
    kernel.at<float>(row + 1, col) += (1 - x) * y / parts;
    kernel.at<float>(row + 1, col + 1) += x * y / parts;
  }
  cv::Mat out;
  cv::filter2D(linear, out, -1, kernel, {-1, -1}, 0, cv::BORDER_REPLICATE);
  return out;
}

cv::Mat developed(const cv::Mat& light, const CameraOptions& camera, std::uint64_t seed) {
  cv::Mat linear = light.clone();
  if (camera.blur_px > 0) cv::GaussianBlur(linear, linear, {0, 0}, camera.blur_px);
  add_noise(linear, camera.noise, seed);
  cv::Mat grey = toned(linear, camera.tone);
  if (camera.processing > 0) grey = processed(grey, camera.processing);
  if (camera.sharpen > 0) {
    cv::Mat soft;
    cv::GaussianBlur(grey, soft, {0, 0}, 1.0);
    grey = (1 + camera.sharpen) * grey - camera.sharpen * soft;
  }
  cv::Mat out;
  grey.convertTo(out, CV_8UC3);
  return out;
}

std::string photo_file(const cv::Mat& picture, const Shot& shot, const CameraOptions& camera, int number) {
  constexpr double kProcessedQuality = 82;
  const double quality = camera.jpeg_quality + camera.processing * (kProcessedQuality - camera.jpeg_quality);
  std::vector<std::uint8_t> bytes;
  cv::imencode(".jpg", picture, bytes, {cv::IMWRITE_JPEG_QUALITY, static_cast<int>(std::lround(quality))});
  const double diagonal = std::hypot(shot.width_px, shot.height_px);
  char time[32];
  std::snprintf(time, sizeof time, "2026:03:14 10:%02d:%02d", number / 6 % 60, number % 6 * 10);
  auto image = Exiv2::ImageFactory::open(bytes.data(), static_cast<long>(bytes.size()));
  image->readMetadata();
  Exiv2::ExifData exif;
  exif["Exif.Image.Make"] = "Interstice renderer";
  exif["Exif.Image.Model"] = camera.name;
  exif["Exif.Image.Orientation"] = static_cast<std::uint16_t>(shot.portrait ? 6 : 1);
  exif["Exif.Image.DateTime"] = time;
  exif["Exif.Photo.DateTimeOriginal"] = time;
  exif["Exif.Photo.FocalLengthIn35mmFilm"] =
      static_cast<std::uint16_t>(std::lround(shot.focal_px * kDiagonal35 / diagonal));
  image->setExifData(exif);
  image->writeMetadata();
  Exiv2::BasicIo& io = image->io();
  io.seek(0, Exiv2::BasicIo::beg);
  const Exiv2::DataBuf file = io.read(static_cast<long>(io.size()));
  return {reinterpret_cast<const char*>(file.pData_), static_cast<std::size_t>(file.size_)};
}

}  // namespace interstice::renderer
