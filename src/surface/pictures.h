// The photos' pictures, decoded once and kept at the size a stage needs.
#pragma once

#include <opencv2/core/hal/intrin.hpp>
#include <opencv2/core/mat.hpp>
#include <opencv2/core/matx.hpp>
#include <vector>

#include "scan/scan.h"

namespace interstice::surface {

// One photo's picture reduced by a whole factor (area mean). Picture pixel q shows photo pixel
// (q + 0.5) * factor - 0.5.
struct Picture {
  cv::Mat grey;    // CV_8U
  cv::Mat colour;  // CV_8UC3, B G R; empty unless asked for
  int factor = 1;

  Eigen::Vector2d from_photo(const Eigen::Vector2d& pixel) const {
    return ((pixel.array() + 0.5) / factor - 0.5).matrix();
  }
};

// Pictures of all photos of a scan with a footprint of at most `footprint_mm` where the factor allows (1:
// full size). Throws PhotoError when a photo can no longer be read.
geometry::IndexedVector<geometry::PhotoIndex, Picture> read_pictures(const scan::Scan& scan,
                                                                     double footprint_mm, bool colour,
                                                                     int threads);

// Bilinear value of a single-channel picture (8 bits, or float); NaN outside.
template <class Value = uchar>
float sample(const cv::Mat& grey, double x, double y) {
  if (!(x >= 0 && y >= 0 && x < grey.cols - 1 && y < grey.rows - 1)) return NAN;
  const int ix = static_cast<int>(x), iy = static_cast<int>(y);
  const float fx = static_cast<float>(x - ix), fy = static_cast<float>(y - iy);
  const Value* p = grey.ptr<Value>(iy) + ix;
  const Value* q = grey.ptr<Value>(iy + 1) + ix;
  return (1 - fy) * ((1 - fx) * static_cast<float>(p[0]) + fx * static_cast<float>(p[1])) +
         fy * ((1 - fx) * static_cast<float>(q[0]) + fx * static_cast<float>(q[1]));
}

// The same of a picture of three channels.
inline cv::Vec3f sample_colour(const cv::Mat& colour, double x, double y) {
  if (!(x >= 0 && y >= 0 && x < colour.cols - 1 && y < colour.rows - 1)) return {NAN, NAN, NAN};
  const int ix = static_cast<int>(x), iy = static_cast<int>(y);
  const float fx = static_cast<float>(x - ix), fy = static_cast<float>(y - iy);
  const uchar* p = colour.ptr<uchar>(iy) + 3 * ix;
  const uchar* q = colour.ptr<uchar>(iy + 1) + 3 * ix;
  // Four channels side by side, the fourth of them for nothing; no byte beyond the two pixels is read.
  const auto real = [](const cv::v_uint32x4& v) { return cv::v_cvt_f32(cv::v_reinterpret_as_s32(v)); };
  const auto along = [&](const uchar* pixels) {
    const cv::v_float32x4 one = real(cv::v_load_expand_q(pixels)),
                          next = real(cv::v_rotate_right<1>(cv::v_load_expand_q(pixels + 2)));
    return cv::v_setall_f32(1 - fx) * one + cv::v_setall_f32(fx) * next;
  };
  alignas(16) float out[4];
  cv::v_store_aligned(out, cv::v_setall_f32(1 - fy) * along(p) + cv::v_setall_f32(fy) * along(q));
  return {out[0], out[1], out[2]};
}

}  // namespace interstice::surface
