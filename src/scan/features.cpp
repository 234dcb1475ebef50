#include "scan/features.h"

#include <algorithm>
#include <cmath>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

namespace interstice::scan {
namespace {

constexpr double kSiftShiftPx = 0.25;
// A SIFT extremum is localised to a fraction of its scale; 0.15 of sigma is a round figure that the
// adjustment then corrects from the residuals.
constexpr double kLocalisation = 0.15;
// Ties confirm the photos' positions more than they carry them: at about half a millimetre a pixel on the
// form they are as good for that as at full size (widths of three scans keep their RMS to 0.001 mm) and cost
// a fifth less of the whole.
constexpr double kMaxWidth = 1200;

}  // namespace

Features find_features(const cv::Mat& grey, const cv::Mat& mask, int most) {
  const int f = std::max(1, static_cast<int>(std::ceil(std::max(grey.cols, grey.rows) / kMaxWidth)));
  cv::Mat picture = grey, where = mask;
  if (f > 1) {
    const cv::Rect whole(0, 0, grey.cols / f * f, grey.rows / f * f);
    cv::resize(grey(whole), picture, cv::Size(grey.cols / f, grey.rows / f), 0, 0, cv::INTER_AREA);
    cv::resize(mask(whole), where, picture.size(), 0, 0, cv::INTER_NEAREST);
  }
  // Only the rectangle around the mask is searched.
  const cv::Rect box = cv::boundingRect(where);
  Features out;
  if (box.empty()) return out;
  const auto sift = cv::SIFT::create(most, 3, 0.008, 10, 1.6);
  std::vector<cv::KeyPoint> keys;
  cv::Mat descriptors;
  sift->detectAndCompute(picture(box), where(box), keys, descriptors);
  for (const cv::KeyPoint& k : keys) {
    const double x = double(k.pt.x) + box.x - kSiftShiftPx, y = double(k.pt.y) + box.y - kSiftShiftPx;
    out.pixel.emplace_back((x + 0.5) * f - 0.5, (y + 0.5) * f - 0.5);
    out.sd_px.push_back(std::max(0.2, kLocalisation * double(k.size) / 2) * f);
  }
  // RootSIFT: the Hellinger kernel on the histograms.
  for (int r = 0; r < descriptors.rows; ++r) {
    cv::Mat row = descriptors.row(r);
    row /= cv::norm(row, cv::NORM_L1) + 1e-12;
    cv::sqrt(row, row);
  }
  out.descriptors = descriptors;
  return out;
}

}  // namespace interstice::scan
