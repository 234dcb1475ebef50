#include "archive/preview.h"

#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "archive/picture_parts.h"
#include "core/errors.h"
#include "core/files.h"

namespace interstice::archive {
namespace {

constexpr int kSide_px = 1024;
constexpr double kMaxPreviewPixels = 400e6;  // a picture larger than this is no ortho picture

std::optional<std::string> as_png(const cv::Mat& picture) {
  std::vector<unsigned char> bytes;
  if (!cv::imencode(".png", picture, bytes)) return std::nullopt;
  return std::string(bytes.begin(), bytes.end());
}

}  // namespace

std::optional<std::string> preview_of_picture(const std::filesystem::path& picture) {
  try {
    const std::string bytes = core::read_file(picture);
    // Absurd sizes are refused before memory is asked for.
    if (bytes.size() < 24 || bytes.compare(1, 3, "PNG") != 0 ||
        static_cast<double>(big_endian(bytes, 16, 4)) * static_cast<double>(big_endian(bytes, 20, 4)) >
            kMaxPreviewPixels) {
      return std::nullopt;
    }
    const cv::Mat raw(1, static_cast<int>(bytes.size()), CV_8U, const_cast<char*>(bytes.data()));
    const cv::Mat full = cv::imdecode(raw, cv::IMREAD_COLOR | cv::IMREAD_IGNORE_ORIENTATION);
    if (full.empty()) return std::nullopt;
    const double scale = std::min(1.0, double(kSide_px) / std::max(full.cols, full.rows));
    cv::Mat small;
    cv::resize(full, small,
               cv::Size(std::max(1, cvRound(full.cols * scale)), std::max(1, cvRound(full.rows * scale))), 0,
               0, cv::INTER_AREA);
    return as_png(small);
  } catch (const cv::Exception&) {
    return std::nullopt;
  } catch (const core::InputError&) {
    return std::nullopt;
  }
}

std::optional<std::string> preview_of_pieces(const seams::FitDocument& fit) {
  double reach_mm = 0;
  for (const seams::FitTile& tile : fit.tiles) {
    for (const Eigen::Vector3d& p : tile.arris) reach_mm = std::max(reach_mm, p.head<2>().norm());
  }
  if (reach_mm <= 0) return std::nullopt;
  constexpr int kShift = 4;  // sixteenths of a pixel
  const double scale = (kSide_px / 2 - 16) / reach_mm;
  const auto place = [&](const Eigen::Vector3d& p) {
    return cv::Point(cvRound((kSide_px / 2 + p.x() * scale) * (1 << kShift)),
                     cvRound((kSide_px / 2 - p.y() * scale) * (1 << kShift)));
  };
  cv::Mat picture(kSide_px, kSide_px, CV_8UC3, cv::Scalar(250, 250, 250));
  for (const seams::FitTile& tile : fit.tiles) {
    std::vector<std::vector<cv::Point>> outline(1);
    for (const Eigen::Vector3d& p : tile.arris) outline[0].push_back(place(p));
    if (outline[0].size() < 3) continue;
    cv::fillPoly(picture, outline, cv::Scalar(150, 178, 205), cv::LINE_AA, kShift);
    cv::polylines(picture, outline, true, cv::Scalar(60, 72, 84), 1, cv::LINE_AA, kShift);
  }
  return as_png(picture);
}

}  // namespace interstice::archive
