#include "scan/features.h"

#include <algorithm>
#include <cmath>
#include <numeric>
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

// RootSIFT: the Hellinger kernel on the histograms.
void hellinger(const uchar* histogram, int bins, float* root) {
  int total = 0;
  for (int k = 0; k < bins; ++k) total += histogram[k];
  const float share = static_cast<float>(1 / (total + 1e-12));
  for (int k = 0; k < bins; ++k) root[k] = std::sqrt(static_cast<float>(histogram[k]) * share);
}

// Those of these numbers.
Features chosen(const Features& features, const std::vector<std::size_t>& which) {
  Features out;
  const int rows = static_cast<int>(which.size());
  out.descriptors.create(rows, features.descriptors.cols, features.descriptors.type());
  for (int k = 0; k < rows; ++k) {
    const std::size_t i = which[static_cast<std::size_t>(k)];
    features.descriptors.row(static_cast<int>(i)).copyTo(out.descriptors.row(k));
    out.pixel.push_back(features.pixel[i]);
    out.sd_px.push_back(features.sd_px[i]);
    out.strength.push_back(features.strength[i]);
  }
  return out;
}

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
  const auto sift = cv::SIFT::create(most, 3, 0.008, 10, 1.6, CV_8U);
  std::vector<cv::KeyPoint> keys;
  sift->detectAndCompute(picture(box), where(box), keys, out.descriptors);
  for (const cv::KeyPoint& k : keys) {
    const double x = double(k.pt.x) + box.x - kSiftShiftPx, y = double(k.pt.y) + box.y - kSiftShiftPx;
    out.pixel.emplace_back((x + 0.5) * f - 0.5, (y + 0.5) * f - 0.5);
    out.sd_px.push_back(std::max(0.2, kLocalisation * double(k.size) / 2) * f);
    out.strength.push_back(k.response);
  }
  return out;
}

Features inside(const Features& features, const cv::Mat& mask) {
  std::vector<std::size_t> which;
  const cv::Rect frame({0, 0}, mask.size());
  for (std::size_t i = 0; i < features.pixel.size(); ++i) {
    const Eigen::Vector2d& p = features.pixel[i];
    const cv::Point at(static_cast<int>(std::lround(p.x())), static_cast<int>(std::lround(p.y())));
    if (frame.contains(at) && mask.at<uchar>(at) != 0) which.push_back(i);
  }
  return chosen(features, which);
}

Features ready_to_compare(Features found) {
  const cv::Mat histograms = found.descriptors;
  found.descriptors = cv::Mat(histograms.rows, histograms.cols, CV_32F);
  for (int k = 0; k < histograms.rows; ++k)
    hellinger(histograms.ptr<uchar>(k), histograms.cols, found.descriptors.ptr<float>(k));
  return found;
}

Features strongest(const Features& features, int most) {
  const std::size_t count = static_cast<std::size_t>(most);
  if (features.pixel.size() <= count) return features;
  std::vector<std::size_t> order(features.pixel.size());
  std::iota(order.begin(), order.end(), 0);
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return features.strength[a] > features.strength[b]; });
  order.resize(count);
  std::sort(order.begin(), order.end());
  return chosen(features, order);
}

}  // namespace interstice::scan
