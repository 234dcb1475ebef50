#include "camera/corner.h"

#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <Eigen/LU>
#include <Eigen/SVD>
#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace interstice::camera {
namespace {

// A corner whose window is narrower than this has too few edge pixels to be placed.
constexpr double kSmallestReachPx = 2.5;
// A window wider than this gains nothing; close-ups would only cost time.
constexpr double kWidestReachPx = 24.0;
// A chessboard corner keeps its look when turned by 180 degrees and swaps black and white when turned by 90:
// correlations of +1 and -1. Noise, uneven light and blur leave them beyond 0.9 (measured on the test
// photos); something in front of a quarter of the window takes them below 0.8.
constexpr double kLeastSymmetry = 0.8;
// Grey levels between black and white; below, it is no printed corner.
constexpr double kLeastContrast = 12.0;

double sample(const cv::Mat& grey, const Eigen::Vector2d& p) {
  const double fx = std::floor(p.x()), fy = std::floor(p.y());
  const int x = static_cast<int>(fx), y = static_cast<int>(fy);
  const double a = p.x() - fx, b = p.y() - fy;
  const uchar* row0 = grey.ptr<uchar>(y);
  const uchar* row1 = grey.ptr<uchar>(y + 1);
  return (1 - b) * ((1 - a) * row0[x] + a * row0[x + 1]) + b * ((1 - a) * row1[x] + a * row1[x + 1]);
}

bool inside(const cv::Mat& grey, const Eigen::Vector2d& p, double margin) {
  return p.x() >= margin && p.y() >= margin && p.x() <= grey.cols - 1 - margin &&
         p.y() <= grey.rows - 1 - margin;
}

// Half width and height in pixels of the box round the window.
Eigen::Vector2d window_box(const Eigen::Matrix2d& pixel_J_card, double reach_mm) {
  return pixel_J_card.cwiseAbs() * Eigen::Vector2d(reach_mm, reach_mm);
}

// Weight of a place on the card: smooth down to zero at the window's border, so that pixels entering or
// leaving it do not make the solution jump. And how the weight times the distance from the middle grows with
// that distance, which is what grey-value noise along an edge is multiplied by.
struct Weight {
  double value = 0, noise_gain = 0;
};

Weight window_weight(const Eigen::Vector2d& card_mm, double reach_mm) {
  const double x2 = std::pow(card_mm.x() / reach_mm, 2), y2 = std::pow(card_mm.y() / reach_mm, 2);
  if (x2 >= 1 || y2 >= 1) return {};
  const double wx = 1 - x2, wy = 1 - y2;
  const double w = wx * wx * wy * wy;
  return {w, w - 4 * x2 * wx * wy * wy - 4 * y2 * wy * wx * wx};
}

// A piece of the photo, smoothed: gradients taken from the pixels as they are place an edge that runs along
// the pixel rows up to 0.06 px wrong, depending on where between two rows it lies.
constexpr double kSmoothingPx = 1.0;

struct Patch {
  cv::Mat smooth;  // CV_32F
  int left = 0, top = 0;
};

Patch smooth_patch(const cv::Mat& grey, const Eigen::Vector2d& centre, const Eigen::Vector2d& half_size) {
  const int left = std::max(0, static_cast<int>(std::floor(centre.x() - half_size.x())));
  const int top = std::max(0, static_cast<int>(std::floor(centre.y() - half_size.y())));
  const int right = std::min(grey.cols, static_cast<int>(std::ceil(centre.x() + half_size.x())) + 1);
  const int bottom = std::min(grey.rows, static_cast<int>(std::ceil(centre.y() + half_size.y())) + 1);
  Patch patch;
  patch.left = left;
  patch.top = top;
  grey(cv::Range(top, bottom), cv::Range(left, right)).convertTo(patch.smooth, CV_32F);
  cv::GaussianBlur(patch.smooth, patch.smooth, cv::Size(7, 7), kSmoothingPx, kSmoothingPx,
                   cv::BORDER_REFLECT_101);
  return patch;
}

struct NormalEquations {
  Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
  Eigen::Vector2d right = Eigen::Vector2d::Zero();  // relative to the centre
  Eigen::Matrix2d noise = Eigen::Matrix2d::Zero();  // covariance of `right` for grey values of unit noise
};

NormalEquations gather(const Patch& patch, const Eigen::Vector2d& centre, const Eigen::Matrix2d& card_J_pixel,
                       const Eigen::Vector2d& box, double reach_mm) {
  NormalEquations sum;
  const Eigen::Vector2d c(centre.x() - patch.left, centre.y() - patch.top);
  const int x0 = std::max(1, static_cast<int>(std::ceil(c.x() - box.x())));
  const int x1 = std::min(patch.smooth.cols - 2, static_cast<int>(c.x() + box.x()));
  const int y0 = std::max(1, static_cast<int>(std::ceil(c.y() - box.y())));
  const int y1 = std::min(patch.smooth.rows - 2, static_cast<int>(c.y() + box.y()));
  for (int y = y0; y <= y1; ++y) {
    const float* up = patch.smooth.ptr<float>(y - 1);
    const float* mid = patch.smooth.ptr<float>(y);
    const float* down = patch.smooth.ptr<float>(y + 1);
    for (int x = x0; x <= x1; ++x) {
      const Eigen::Vector2d offset(x - c.x(), y - c.y());
      const Weight w = window_weight(card_J_pixel * offset, reach_mm);
      if (w.value == 0) continue;
      const Eigen::Vector2d g((mid[x + 1] - mid[x - 1]) / 2.0, (down[x] - up[x]) / 2.0);
      const Eigen::Matrix2d gg = g * g.transpose();
      sum.normal += w.value * gg;
      sum.right += w.value * (gg * offset);
      sum.noise += w.noise_gain * w.noise_gain * gg;
    }
  }
  return sum;
}

double correlation(const std::vector<double>& a, const std::vector<double>& b) {
  const auto n = static_cast<double>(a.size());
  double sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    sa += a[i], sb += b[i], saa += a[i] * a[i], sbb += b[i] * b[i], sab += a[i] * b[i];
  }
  const double va = saa - sa * sa / n, vb = sbb - sb * sb / n;
  return va > 0 && vb > 0 ? (sab - sa * sb / n) / std::sqrt(va * vb) : 0;
}

// The window as a square grid on the card, and how alike it is to itself turned.
struct Look {
  bool is_corner = false;
  double noise = 0;  // standard deviation of the grey values
};

Look look_at(const cv::Mat& grey, const Eigen::Vector2d& centre, const Eigen::Matrix2d& pixel_J_card,
             double reach_mm) {
  constexpr int kHalf = 7, kSide = 2 * kHalf + 1;
  const double step = 0.85 * reach_mm / kHalf;
  std::vector<double> patch, half_turn, quarter_turn;
  const auto at = [&](int i, int j) {
    return sample(grey, centre + pixel_J_card * Eigen::Vector2d(i * step, j * step));
  };
  for (int j = -kHalf; j <= kHalf; ++j) {
    for (int i = -kHalf; i <= kHalf; ++i) {
      patch.push_back(at(i, j));
      half_turn.push_back(at(-i, -j));
      quarter_turn.push_back(at(-j, i));
    }
  }
  std::vector<double> sorted = patch;
  std::sort(sorted.begin(), sorted.end());
  const double contrast = sorted[kSide * kSide * 9 / 10] - sorted[kSide * kSide / 10];
  double square = 0;
  for (std::size_t i = 0; i < patch.size(); ++i)
    square += (patch[i] - half_turn[i]) * (patch[i] - half_turn[i]);
  Look look;
  // Interpolating between pixels has taken the noise down to two thirds on average.
  look.noise = 1.5 * std::sqrt(square / (2.0 * kSide * kSide));
  look.is_corner = contrast >= kLeastContrast && correlation(patch, half_turn) >= kLeastSymmetry &&
                   correlation(patch, quarter_turn) <= -kLeastSymmetry;
  return look;
}

}  // namespace

Eigen::Vector2d map_point(const Eigen::Matrix3d& pixel_H_card, const Eigen::Vector2d& p) {
  return (pixel_H_card * p.homogeneous()).hnormalized();
}

Eigen::Matrix2d map_jacobian(const Eigen::Matrix3d& pixel_H_card, const Eigen::Vector2d& p) {
  const Eigen::Vector3d q = pixel_H_card * p.homogeneous();
  const Eigen::Vector2d pixel = q.hnormalized();
  return (pixel_H_card.topLeftCorner<2, 2>() - pixel * pixel_H_card.block<1, 2>(2, 0)) / q.z();
}

std::optional<RefinedCorner> refine_corner(const cv::Mat& grey, const Eigen::Vector2d& start,
                                           const Eigen::Matrix2d& pixel_J_card, double reach_mm) {
  const double narrow = pixel_J_card.jacobiSvd().singularValues()(1);  // pixels per mm, the foreshortened way
  if (!(narrow * reach_mm >= kSmallestReachPx)) return std::nullopt;
  const double reach = std::min(reach_mm, kWidestReachPx / narrow);
  const Eigen::Matrix2d card_J_pixel = pixel_J_card.inverse();
  const Eigen::Vector2d box = window_box(pixel_J_card, reach);
  const double margin = box.maxCoeff() + 2;

  const Eigen::Vector2d play = pixel_J_card.cwiseAbs() * Eigen::Vector2d::Constant(reach_mm / 2);
  const Patch patch = smooth_patch(grey, start, box + play + Eigen::Vector2d(5, 5));
  Eigen::Vector2d centre = start;
  NormalEquations sum;
  bool settled = false;
  for (int i = 0; i < 40 && !settled; ++i) {
    if (!inside(grey, centre, margin)) return std::nullopt;
    sum = gather(patch, centre, card_J_pixel, box, reach);
    const Eigen::Vector2d eigenvalues =
        Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>(sum.normal).eigenvalues();
    if (!(eigenvalues(0) > 1e-4 * eigenvalues(1)) || !(eigenvalues(0) > 0)) return std::nullopt;
    const Eigen::Vector2d step = sum.normal.inverse() * sum.right;
    centre += step;
    if ((card_J_pixel * (centre - start)).norm() > reach_mm / 2) return std::nullopt;
    settled = step.norm() < 1e-4;
  }
  if (!settled || !inside(grey, centre, margin)) return std::nullopt;
  const Look look = look_at(grey, centre, pixel_J_card, reach);
  if (!look.is_corner) return std::nullopt;

  // To first order the noise that counts is that of the slope along each edge, times the distance from the
  // corner; summed along the edge it is the noise of the grey values times the slope of weight times
  // distance.
  const Eigen::Matrix2d inverse = sum.normal.inverse();
  const Eigen::Matrix2d covariance = look.noise * look.noise * inverse * sum.noise * inverse;
  RefinedCorner corner;
  corner.pixel = centre;
  corner.sd_px = std::sqrt(covariance.trace() / 2);
  return corner;
}

}  // namespace interstice::camera
