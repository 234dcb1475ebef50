#include "layout/trace_lines.h"

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/errors.h"

namespace interstice::layout {
namespace {

constexpr double kLineSigma_mm = 0.35;   // matches pencil and pen lines of about 0.5 to 1.2 mm
constexpr double kGroundSigma_mm = 6.0;  // shading of the ground varies more slowly than this

double pixels(const geometry::OrthoPicture& picture, double mm) {
  return mm / picture.mm_per_px;
}

cv::Mat form_mask(const geometry::OrthoPicture& picture, const geometry::Profile& form) {
  cv::Mat mask(picture.bgr.size(), CV_8U, cv::Scalar(0));
  const double rim = form.length();
  for (int y = 0; y < mask.rows; ++y) {
    for (int x = 0; x < mask.cols; ++x) {
      if (picture.map_at({x, y}).norm() <= rim) mask.at<uchar>(y, x) = 255;
    }
  }
  return mask;
}

cv::Mat masked_blur(const cv::Mat& values, const cv::Mat& weight, double sigma) {
  cv::Mat top, bottom;
  cv::GaussianBlur(values.mul(weight), top, {}, sigma);
  cv::GaussianBlur(weight, bottom, {}, sigma);
  cv::Mat out;
  cv::divide(top, cv::max(bottom, 1e-6), out);
  return out;
}

// Darkness relative to the ground around; lines pull the ground down a little, so they are left out of it
// once found.
cv::Mat darkness(const geometry::OrthoPicture& picture, const cv::Mat& form) {
  cv::Mat grey;
  if (picture.bgr.channels() == 3) {
    cv::cvtColor(picture.bgr, grey, cv::COLOR_BGR2GRAY);
  } else {
    grey = picture.bgr;
  }
  cv::Mat value, weight;
  grey.convertTo(value, CV_32F);
  form.convertTo(weight, CV_32F, 1.0 / 255);
  const double sigma = pixels(picture, kGroundSigma_mm);
  cv::Mat ground = masked_blur(value, weight, sigma);
  cv::Mat dark;
  for (int k = 0; k < 2; ++k) {
    cv::divide(value, cv::max(ground, 1.0), dark);
    dark = 1.0 - dark;
    cv::Mat bright = (dark < 0.08) & (form > 0);
    cv::Mat bright_weight;
    bright.convertTo(bright_weight, CV_32F, 1.0 / 255);
    ground = masked_blur(value, bright_weight + 1e-4 * weight, sigma);
  }
  dark.setTo(0, form == 0);
  return dark;
}

// Across a dark line the second derivative is large: the larger eigenvalue of the Hessian, times sigma
// squared.
cv::Mat ridge_of(const cv::Mat& dark, double sigma) {
  cv::Mat smooth, xx, yy, xy;
  cv::GaussianBlur(dark, smooth, {}, sigma);
  cv::Sobel(smooth, xx, CV_32F, 2, 0, 3, 1.0 / 4);
  cv::Sobel(smooth, yy, CV_32F, 0, 2, 3, 1.0 / 4);
  cv::Sobel(smooth, xy, CV_32F, 1, 1, 3, 1.0 / 4);
  cv::Mat half_difference = (xx - yy) * 0.5, root;
  cv::sqrt(half_difference.mul(half_difference) + xy.mul(xy), root);
  cv::Mat ridge = (root - (xx + yy) * 0.5) * (sigma * sigma);
  return cv::max(ridge, 0);
}

// The threshold that best parts ridge tops into two classes (Otsu, IEEE Trans. SMC 9, 1979), on a log scale.
double line_threshold(const cv::Mat& ridge, const cv::Mat& form, double floor) {
  constexpr int kBins = 64;
  constexpr double kLow = -7, kHigh = 0;  // natural logarithm of the ridge
  std::vector<double> count(kBins, 0);
  for (int y = 1; y + 1 < ridge.rows; ++y) {
    for (int x = 1; x + 1 < ridge.cols; ++x) {
      const float r = ridge.at<float>(y, x);
      if (r < floor || form.at<uchar>(y, x) == 0) continue;
      const bool top = (r >= ridge.at<float>(y, x - 1) && r >= ridge.at<float>(y, x + 1)) ||
                       (r >= ridge.at<float>(y - 1, x) && r >= ridge.at<float>(y + 1, x));
      if (!top) continue;
      const int bin = static_cast<int>((std::log(r) - kLow) / (kHigh - kLow) * kBins);
      ++count[static_cast<std::size_t>(std::clamp(bin, 0, kBins - 1))];
    }
  }
  double total = 0, sum = 0;
  for (int i = 0; i < kBins; ++i)
    total += count[static_cast<std::size_t>(i)], sum += i * count[static_cast<std::size_t>(i)];
  double below = 0, below_sum = 0, best = -1;
  int cut = kBins / 2;
  for (int i = 0; i + 1 < kBins; ++i) {
    below += count[static_cast<std::size_t>(i)];
    below_sum += i * count[static_cast<std::size_t>(i)];
    if (below <= 0 || below >= total) continue;
    const double gap = below_sum / below - (sum - below_sum) / (total - below);
    const double between = below * (total - below) * gap * gap;
    if (between > best) best = between, cut = i;
  }
  return std::exp(kLow + (kHigh - kLow) * (cut + 1) / kBins);
}

// Connected marks too small to be an outline go; so do weak ones that no strong ridge belongs to.
cv::Mat drawn_lines(const LinePicture& found, double largest_mark_px) {
  const cv::Mat weak = found.ridge > 0.6 * found.threshold;
  cv::Mat labels, stats, centroids;
  const int n = cv::connectedComponentsWithStats(weak, labels, stats, centroids, 8);
  std::vector<char> strong(static_cast<std::size_t>(n), 0), keep(static_cast<std::size_t>(n), 0);
  for (int y = 0; y < labels.rows; ++y) {
    for (int x = 0; x < labels.cols; ++x) {
      if (found.ridge.at<float>(y, x) > 1.5 * found.threshold)
        strong[static_cast<std::size_t>(labels.at<int>(y, x))] = 1;
    }
  }
  for (int i = 1; i < n; ++i) {
    const int w = stats.at<int>(i, cv::CC_STAT_WIDTH), h = stats.at<int>(i, cv::CC_STAT_HEIGHT);
    keep[static_cast<std::size_t>(i)] =
        strong[static_cast<std::size_t>(i)] && std::hypot(w, h) > largest_mark_px;
  }
  cv::Mat lines(labels.size(), CV_8U, cv::Scalar(0));
  for (int y = 0; y < labels.rows; ++y) {
    for (int x = 0; x < labels.cols; ++x) {
      if (keep[static_cast<std::size_t>(labels.at<int>(y, x))]) lines.at<uchar>(y, x) = 255;
    }
  }
  return lines;
}

}  // namespace

LinePicture find_lines(const geometry::OrthoPicture& picture, const geometry::Profile& form) {
  LinePicture found;
  const cv::Mat whole = form_mask(picture, form);
  found.form = whole.clone();
  if (!picture.confidence.empty()) found.form.setTo(0, picture.confidence == 0);
  found.unseen = whole & ~found.form;
  const int all = cv::countNonZero(whole), seen = cv::countNonZero(found.form);
  if (all == 0 || seen < all / 2) {
    throw core::MeasureError(
        "the photos show less than half of the form: photograph it from all round and from above");
  }
  const double sigma = std::max(1.0, pixels(picture, kLineSigma_mm));
  found.ridge = ridge_of(darkness(picture, found.form), sigma);
  // The edges of what is seen look like lines; the rim is an edge of its own.
  cv::Mat inner;
  const int edge = 2 * static_cast<int>(std::ceil(2.0 * sigma)) + 1;
  cv::erode(found.form, inner, cv::getStructuringElement(cv::MORPH_ELLIPSE, {edge, edge}), {-1, -1}, 1,
            cv::BORDER_CONSTANT, 0);
  found.ridge.setTo(0, inner == 0);
  const double floor = 0.004;  // one grey level of 255 over its own smoothing
  found.threshold = std::max(line_threshold(found.ridge, inner, floor), 0.012);
  found.lines = drawn_lines(found, pixels(picture, kLargestMark_mm));
  if (cv::countNonZero(found.lines) < all / 2000) {
    throw core::MeasureError(
        "no drawn lines stand out on the form: draw them darker, or photograph with softer light");
  }
  return found;
}

}  // namespace interstice::layout
