#include "edges/edge_profiles.h"

#include <algorithm>
#include <cmath>

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

bool hidden_edge(const Occluders& pieces, const Surroundings& around, const Vector3d& at,
                 const Vector3d& outward, const Vector3d& camera) {
  for (const double x : {0.0, -around.reach_mm, around.reach_mm}) {
    if (pieces.hidden(at + x * outward, camera, around.self, around.level_mm)) return true;
  }
  return false;
}

// Where a profile reads a picture: a sample for every offset along the normal and every row across it.
class Samples {
 public:
  Samples(const OutlineView& view, double first_mm, double step_mm, double across_mm)
      : at_(view.at), normal_(view.per_mm_normal), first_mm_(first_mm), step_mm_(step_mm) {
    const int rows = std::max(1, static_cast<int>(std::lround(across_mm * view.per_mm_tangent.norm())));
    for (int r = 0; r < rows; ++r)
      rows_.push_back(across_mm * ((r + 0.5) / rows - 0.5) * view.per_mm_tangent);
  }
  const std::vector<Vector2d>& rows() const { return rows_; }
  Vector2d middle(std::size_t k) const {
    return at_ + (first_mm_ + static_cast<double>(k) * step_mm_) * normal_;
  }
  // Whether the first `count` offsets' samples surely lie a pixel and more within the picture's last ones: a
  // parallelogram reaches no further than its corners.
  bool well_inside(const cv::Mat& picture, std::size_t count) const {
    for (const Vector2d& end : {middle(0), middle(count - 1)}) {
      for (const Vector2d& row : {rows_.front(), rows_.back()}) {
        const Vector2d q = end + row;
        if (!(q.x() >= 1 && q.y() >= 1 && q.x() < picture.cols - 3 && q.y() < picture.rows - 3)) return false;
      }
    }
    return true;
  }

 private:
  Vector2d at_, normal_;
  double first_mm_, step_mm_;
  std::vector<Vector2d> rows_;
};

// Both coordinates' whole pixel and what is left of them.
struct Pixel {
  int x, y;
  float fx, fy;
  explicit Pixel(const Vector2d& q)
      : x(static_cast<int>(q.x())),
        y(static_cast<int>(q.y())),
        fx(static_cast<float>(q.x() - x)),
        fy(static_cast<float>(q.y() - y)) {}
};

// surface::sample_colour well inside a picture, the fourth lane for nothing: one pixel beyond the second is read.
cv::v_float32x4 colour_inside(const cv::Mat& colour, const Vector2d& q) {
  const Pixel at(q);
  const auto real = [](const cv::v_uint32x4& v) { return cv::v_cvt_f32(cv::v_reinterpret_as_s32(v)); };
  const cv::v_float32x4 here = cv::v_setall_f32(1 - at.fx), next = cv::v_setall_f32(at.fx);
  const auto along = [&](const uchar* pixels) {
    const cv::v_uint16x8 both = cv::v_load_expand(pixels);
    return here * real(cv::v_expand_low(both)) + next * real(cv::v_expand_low(cv::v_rotate_right<3>(both)));
  };
  const uchar* p = colour.ptr<uchar>(at.y) + 3 * at.x;
  return cv::v_setall_f32(1 - at.fy) * along(p) + cv::v_setall_f32(at.fy) * along(p + colour.step[0]);
}

// surface::sample well inside a picture.
float grey_inside(const cv::Mat& grey, const Vector2d& q) {
  const Pixel at(q);
  const uchar* p = grey.ptr<uchar>(at.y) + at.x;
  const uchar* below = p + grey.step[0];
  return (1 - at.fy) * ((1 - at.fx) * static_cast<float>(p[0]) + at.fx * static_cast<float>(p[1])) +
         at.fy * ((1 - at.fx) * static_cast<float>(below[0]) + at.fx * static_cast<float>(below[1]));
}

// Calls use(offset, sum of the samples' values there).
template <class Sum, class Sample, class Use>
void sum_rows(const Samples& samples, std::size_t count, const Sum& nought, const Sample& sample,
              const Use& use) {
  for (std::size_t k = 0; k < count; ++k) {
    const Vector2d middle = samples.middle(k);
    Sum sum = nought;
    for (const Vector2d& row : samples.rows()) sum += sample(middle + row);
    use(k, sum);
  }
}

}  // namespace

std::vector<OutlineView> views_of_point(
    const scan::Scan& scan, const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
    const geometry::PlaneFrame& frame, const Vector2d& p, const Vector2d& normal, double least_cosine,
    const Surroundings& around) {
  std::vector<OutlineView> out;
  const Vector3d at = frame.lift(p);
  const Vector3d outward = normal.x() * frame.ex + normal.y() * frame.ey;
  const Vector3d along = -normal.y() * frame.ex + normal.x() * frame.ey;
  constexpr double kStep_mm = 0.5;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    const Vector3d direction = (photo.centre() - at).normalized();
    OutlineView view;
    view.photo = geometry::PhotoIndex(i);
    view.cosine = direction.dot(frame.normal);
    if (view.cosine < least_cosine) continue;
    if (around.pieces != nullptr && hidden_edge(*around.pieces, around, at, outward, photo.centre()))
      continue;
    const Vector2d pixel = photo.project(at);
    if (!photo.lens.in_frame(pixel, 8)) continue;
    const surface::Picture& picture = pictures[view.photo];
    view.slope = direction.dot(outward) / view.cosine;
    view.at = picture.from_photo(pixel);
    const auto derivative = [&](const Vector3d& d) -> Vector2d {
      return (photo.project(at + kStep_mm * d) - photo.project(at - kStep_mm * d)) /
             (2 * kStep_mm * picture.factor);
    };
    view.per_mm_normal = derivative(outward);
    view.per_mm_tangent = derivative(along);
    view.px_per_mm = view.per_mm_normal.norm();
    if (view.per_mm_normal.allFinite() && view.per_mm_tangent.allFinite()) out.push_back(view);
  }
  return out;
}

void read_profile(const surface::Picture& picture, const OutlineView& view, double first_mm, double step_mm,
                  double across_mm, std::vector<float>& values) {
  if (values.empty()) return;
  const Samples samples(view, first_mm, step_mm, across_mm);
  const auto rows = static_cast<float>(samples.rows().size());
  const auto use = [&](std::size_t k, float sum) { values[k] = sum / rows; };
  if (samples.well_inside(picture.grey, values.size())) {
    sum_rows(
        samples, values.size(), 0.0f, [&](const Vector2d& q) { return grey_inside(picture.grey, q); }, use);
  } else {
    sum_rows(
        samples, values.size(), 0.0f,
        [&](const Vector2d& q) { return surface::sample(picture.grey, q.x(), q.y()); }, use);
  }
}

void read_colour_profile(const surface::Picture& picture, const OutlineView& view, double first_mm,
                         double step_mm, double across_mm, std::size_t count, ColourProfile& values) {
  for (std::vector<float>& v : values) v.resize(count);
  if (count == 0) return;
  const Samples samples(view, first_mm, step_mm, across_mm);
  const auto rows = static_cast<float>(samples.rows().size());
  const auto use = [&](std::size_t k, const auto& sum) {
    const float blue = sum[0] / rows, green = sum[1] / rows, red = sum[2] / rows;
    values[0][k] = 0.299f * red + 0.587f * green + 0.114f * blue;
    values[1][k] = red - green;
    values[2][k] = (red + green) / 2 - blue;
  };
  if (samples.well_inside(picture.colour, count)) {
    const auto sample = [&](const Vector2d& q) { return colour_inside(picture.colour, q); };
    sum_rows(samples, count, cv::v_setzero_f32(), sample, [&](std::size_t k, const cv::v_float32x4& sum) {
      alignas(16) float channels[4];
      cv::v_store_aligned(channels, sum);
      use(k, channels);
    });
  } else {
    const auto sample = [&](const Vector2d& q) {
      return surface::sample_colour(picture.colour, q.x(), q.y());
    };
    sum_rows(samples, count, cv::Vec3f(0, 0, 0), sample, use);
  }
}

}  // namespace interstice::edges
