#include "surface/height_field.h"

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <numbers>
#include <opencv2/core/hal/intrin.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/parallel.h"
#include "surface/map_picture.h"

namespace interstice::surface {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr int kSide = 5;  // samples along a patch's side
constexpr int kSamples = kSide * kSide;
// Samples are worked four at a time; the three left over in the last four count nothing.
constexpr int kLanes = 4, kGroups = (kSamples + kLanes - 1) / kLanes;
static_assert(kSamples == kLanes * (kGroups - 1) + 1);
using Patch = std::array<cv::v_float32x4, kGroups>;

// A view of one map cell: the camera frame's point at height h over the form is base + h * up, a patch's
// sides lie along `across` and `along` there.
struct Sight {
  const camera::Lens* lens;
  const Picture* picture;
  Vector3d base, up, across, along;
};

Sight sight(const scan::ScannedPhoto& photo, const Picture& picture, const geometry::Profile& profile,
            const Vector2d& uv, double step) {
  const Eigen::Matrix3d r = photo.camera_T_bowl.linear();
  return {&photo.lens,
          &picture,
          photo.camera_T_bowl * profile.point(uv),
          r * profile.normal(uv),
          step * (r * profile.along_ring(uv)),
          step * (r * profile.towards_pole(uv))};
}

// Where a patch lands in a photo, to first order: pixel = at + i * dx + j * dy. Patches are a few millimetres
// at hundreds of millimetres: the curvature of the projection is far below a pixel.
struct Landing {
  Vector2d at, dx, dy;
};

Landing land(const Sight& s, double height_mm) {
  const Vector3d p = s.base + height_mm * s.up;
  const Vector2d at = s.picture->from_photo(s.lens->project(p));
  return {at, s.picture->from_photo(s.lens->project(p + s.across)) - at,
          s.picture->from_photo(s.lens->project(p + s.along)) - at};
}

// The landings of one sight at all heights: over a range that is small against the camera's distance they run so
// nearly straight that cubics through four of them (at the Chebyshev nodes) give the others. What is left out is of
// the order of (half the range / distance)^4 / 8 of the way the landing runs: at 11 mm in 250 mm and 50 pixels it is
// 2e-5 px.
class Landings {
 public:
  Landings(const Sight& s, double lowest_mm, double highest_mm)
      : middle_((lowest_mm + highest_mm) / 2), half_(std::max((highest_mm - lowest_mm) / 2, 1e-9)) {
    static const std::array<double, 4> nodes = [] {
      std::array<double, 4> out{};
      for (std::size_t k = 0; k < 4; ++k)
        out[k] = std::cos((2 * static_cast<double>(k) + 1) * std::numbers::pi / 8);
      return out;
    }();
    static const Eigen::Matrix4d values_to_cubic = [] {
      Eigen::Matrix4d powers;
      for (int k = 0; k < 4; ++k) {
        const double t = nodes[static_cast<std::size_t>(k)];
        powers.row(k) << 1, t, t * t, t * t * t;
      }
      return Eigen::Matrix4d(powers.inverse());
    }();
    Eigen::Matrix<double, 4, 6> values;
    for (int k = 0; k < 4; ++k) {
      const Landing l = land(s, middle_ + half_ * nodes[static_cast<std::size_t>(k)]);
      values.row(k) << l.at.transpose(), l.dx.transpose(), l.dy.transpose();
    }
    cubic_ = (values_to_cubic * values).transpose();
  }

  // NaN where the sight leaves the lens's domain within the range: add_patch() refuses it.
  Landing at(double height_mm) const {
    const double t = (height_mm - middle_) / half_;
    const Eigen::Matrix<double, 6, 1> l =
        cubic_.col(0) + t * (cubic_.col(1) + t * (cubic_.col(2) + t * cubic_.col(3)));
    return {l.segment<2>(0), l.segment<2>(2), l.segment<2>(4)};
  }

 private:
  double middle_, half_;
  Eigen::Matrix<double, 6, 4> cubic_;
};

// Places of the samples in a patch, in steps from its middle.
struct Places {
  alignas(16) float i[kGroups * kLanes]{}, j[kGroups * kLanes]{}, counts[kGroups * kLanes]{};
  Places() {
    for (int s = 0; s < kSamples; ++s) {
      i[s] = static_cast<float>(s % kSide - (kSide - 1) / 2);
      j[s] = static_cast<float>(s / kSide - (kSide - 1) / 2);
      counts[s] = 1;
    }
  }
};

ushort pair(const uchar* p) {
  ushort out;
  std::memcpy(&out, p, 2);
  return out;
}

// Bilinear values of a patch that lies inside the picture, counted from the whole pixel `corner`.
void read_patch(const cv::Mat& grey, const Landing& l, const Vector2d& corner, Patch& patch) {
  static const Places places;
  const auto all = [](double x) { return cv::v_setall_f32(static_cast<float>(x)); };
  const cv::v_float32x4 x0 = all(l.at.x() - corner.x()), y0 = all(l.at.y() - corner.y());
  const cv::v_float32x4 xi = all(l.dx.x()), yi = all(l.dx.y()), xj = all(l.dy.x()), yj = all(l.dy.y());
  const uchar* origin = grey.ptr<uchar>(static_cast<int>(corner.y())) + static_cast<int>(corner.x());
  const std::size_t row = grey.step[0];
  for (int g = 0; g < kGroups; ++g) {
    const cv::v_float32x4 i = cv::v_load_aligned(places.i + kLanes * g),
                          j = cv::v_load_aligned(places.j + kLanes * g);
    const cv::v_float32x4 x = x0 + i * xi + j * xj, y = y0 + i * yi + j * yj;
    const cv::v_int32x4 ix = cv::v_trunc(x), iy = cv::v_trunc(y);
    const cv::v_float32x4 fx = x - cv::v_cvt_f32(ix), fy = y - cv::v_cvt_f32(iy);
    alignas(16) int column[kLanes], line[kLanes];
    cv::v_store_aligned(column, ix);
    cv::v_store_aligned(line, iy);
    // A pixel and the next, of the upper row and of the lower.
    const uchar* at[kLanes];
    for (int k = 0; k < kLanes; ++k) at[k] = origin + static_cast<std::size_t>(line[k]) * row + column[k];
    const cv::v_uint16x8 both(pair(at[0]), pair(at[1]), pair(at[2]), pair(at[3]), pair(at[0] + row),
                              pair(at[1] + row), pair(at[2] + row), pair(at[3] + row));
    cv::v_uint32x4 left[2], right[2];  // vectors count bytes from the low end
    cv::v_expand(both & cv::v_setall_u16(0xff), left[0], left[1]);
    cv::v_expand(both >> 8, right[0], right[1]);
    const auto real = [](const cv::v_uint32x4& v) { return cv::v_cvt_f32(cv::v_reinterpret_as_s32(v)); };
    const cv::v_float32x4 top = real(left[0]) + fx * (real(right[0]) - real(left[0])),
                          bottom = real(left[1]) + fx * (real(right[1]) - real(left[1]));
    patch[static_cast<std::size_t>(g)] =
        (top + fy * (bottom - top)) * cv::v_load_aligned(places.counts + kLanes * g);
  }
}

float total(const Patch& patch) {
  cv::v_float32x4 sum = patch[0];
  for (std::size_t g = 1; g < kGroups; ++g) sum += patch[g];
  return cv::v_reduce_sum(sum);
}

float squares(const Patch& patch) {
  cv::v_float32x4 sum = patch[0] * patch[0];
  for (std::size_t g = 1; g < kGroups; ++g) sum += patch[g] * patch[g];
  return cv::v_reduce_sum(sum);
}

// Adds a patch of zero mean and unit length; false where it leaves the picture or is flat.
bool add_patch(const cv::Mat& grey, const Landing& l, Patch& sum) {
  constexpr double kHalf = (kSide - 1) / 2;
  const Vector2d reach = kHalf * (l.dx.cwiseAbs() + l.dy.cwiseAbs());
  const Vector2d low = l.at - reach, high = l.at + reach;
  if (!(low.x() >= 1 && low.y() >= 1 && high.x() < grey.cols - 2 && high.y() < grey.rows - 2)) return false;
  Patch patch;
  read_patch(grey, l, (low.array() - 0.5).floor(), patch);
  const cv::v_float32x4 mean = cv::v_setall_f32(total(patch) / kSamples);
  for (std::size_t g = 0; g + 1 < kGroups; ++g) patch[g] -= mean;
  // Of the last four only the first is a sample.
  patch[kGroups - 1] -= mean * cv::v_float32x4(1, 0, 0, 0);
  const float size = squares(patch);
  if (size < 1.0f) return false;  // under a fifth of a grey level: nothing to compare
  const cv::v_float32x4 scale = cv::v_setall_f32(1.0f / std::sqrt(size));
  for (std::size_t g = 0; g < kGroups; ++g) sum[g] += patch[g] * scale;
  return true;
}

// Mean correlation over all pairs of n unit patches whose sum is `sum`.
float mean_correlation(const Patch& sum, int n) {
  if (n < 2) return -1;
  return (squares(sum) - static_cast<float>(n)) / static_cast<float>(n * (n - 1));
}

void agreement_of_row(int row, const scan::Scan& scan,
                      const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                      const geometry::Profile& profile, const MapGrid& grid, const HeightOptions& options,
                      std::vector<cv::Mat>& levels) {
  const double step = options.patch_mm / (kSide - 1);
  std::vector<Sight> sights;
  std::vector<Landings> landings;
  for (int column = 0; column < grid.side(); ++column) {
    const Vector2d uv = grid.uv(column, row);
    if (uv.norm() > profile.length()) continue;
    const double middle = (options.lowest_mm + options.highest_mm) / 2;
    sights.clear();
    for (const geometry::PhotoIndex i :
         spread_views_of(scan, profile.point(uv, middle), profile.normal(uv), options.views))
      sights.push_back(sight(scan.photos[i], pictures[i], profile, uv, step));
    if (sights.size() < 2) continue;
    landings.clear();
    for (const Sight& s : sights) landings.emplace_back(s, options.lowest_mm, options.highest_mm);
    for (std::size_t k = 0; k < levels.size(); ++k) {
      const double height = options.lowest_mm + static_cast<double>(k) * options.step_mm;
      Patch sum;
      sum.fill(cv::v_setzero_f32());
      int n = 0;
      for (std::size_t v = 0; v < sights.size(); ++v)
        n += add_patch(sights[v].picture->grey, landings[v].at(height), sum);
      levels[k].at<float>(row, column) = mean_correlation(sum, n);
    }
  }
}

void pick_best(const std::vector<cv::Mat>& levels, const HeightOptions& options, HeightField& field) {
  const int side = field.grid.side();
  for (int row = 0; row < side; ++row) {
    for (int column = 0; column < side; ++column) {
      std::size_t best = 0;
      for (std::size_t k = 1; k < levels.size(); ++k) {
        if (levels[k].at<float>(row, column) > levels[best].at<float>(row, column)) best = k;
      }
      const float top = levels[best].at<float>(row, column);
      field.agreement.at<float>(row, column) = top;
      if (top < static_cast<float>(options.least_agreement) || best == 0 || best + 1 == levels.size())
        continue;
      const double a = static_cast<double>(levels[best - 1].at<float>(row, column)),
                   b = static_cast<double>(top),
                   c = static_cast<double>(levels[best + 1].at<float>(row, column));
      const double curve = a - 2 * b + c;
      const double shift = curve < -1e-6 ? std::clamp(0.5 * (a - c) / curve, -0.5, 0.5) : 0.0;
      field.height.at<float>(row, column) =
          static_cast<float>(options.lowest_mm + (static_cast<double>(best) + shift) * options.step_mm);
    }
  }
}

}  // namespace

HeightField sweep_heights(const scan::Scan& scan,
                          const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                          const geometry::Profile& profile, const MapGrid& grid,
                          const HeightOptions& options) {
  HeightField field;
  field.grid = grid;
  field.height = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(NAN));
  field.agreement = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(-1));
  const auto count =
      static_cast<std::size_t>(std::floor((options.highest_mm - options.lowest_mm) / options.step_mm)) + 1;
  std::vector<cv::Mat> levels(count);
  for (cv::Mat& level : levels) level = cv::Mat(grid.side(), grid.side(), CV_32F, cv::Scalar(-1));
  core::parallel_for(static_cast<std::size_t>(grid.side()), options.threads, [&](std::size_t row) {
    agreement_of_row(static_cast<int>(row), scan, pictures, profile, grid, options, levels);
  });
  const int pool = 2 * static_cast<int>(std::lround(options.pool_mm / grid.step_mm / 2)) + 1;
  core::parallel_for(levels.size(), options.threads, [&](std::size_t k) {
    cv::Mat pooled;
    cv::blur(levels[k], pooled, {pool, pool});
    levels[k] = pooled;
  });
  pick_best(levels, options, field);
  return field;
}

}  // namespace interstice::surface
