#include "camera/lens.h"

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <algorithm>
#include <boost/math/tools/roots.hpp>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "core/files.h"
#include "core/json_reader.h"

namespace interstice::camera {
namespace {

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

// Distortion of the slopes (x, y) and its derivative.
struct Distorted {
  Eigen::Vector2d value;
  Eigen::Matrix2d jacobian;
};

Distorted distort(const Lens& lens, const Eigen::Vector2d& slope) {
  const double x = slope.x(), y = slope.y(), r2 = slope.squaredNorm();
  const double s = 1 + r2 * (lens.k1 + r2 * (lens.k2 + r2 * lens.k3));
  const double ds = lens.k1 + r2 * (2 * lens.k2 + r2 * 3 * lens.k3);  // d s / d r2
  Distorted d;
  d.value = {x * s + 2 * lens.p1 * x * y + lens.p2 * (r2 + 2 * x * x),
             y * s + lens.p1 * (r2 + 2 * y * y) + 2 * lens.p2 * x * y};
  d.jacobian << s + 2 * x * x * ds + 2 * lens.p1 * y + 6 * lens.p2 * x,
      2 * x * y * ds + 2 * lens.p1 * x + 2 * lens.p2 * y, 2 * x * y * ds + 2 * lens.p1 * x + 2 * lens.p2 * y,
      s + 2 * y * y * ds + 6 * lens.p1 * y + 2 * lens.p2 * x;
  return d;
}

// Whether a slope of squared length q lies within lens.domain(). The sum of the falling terms alone settles
// nearly every point; only the rest asks for the exact limit.
bool in_domain(const Lens& lens, double q) {
  const double least_rise = 1 + q * (std::min(0.0, 3 * lens.k1) +
                                     q * (std::min(0.0, 5 * lens.k2) + q * std::min(0.0, 7 * lens.k3)));
  return least_rise > 0 || std::sqrt(q) < lens.domain();
}

// Newton with halving of steps that do not help; starts from the pixel's own slope, stays inside the domain.
Eigen::Vector2d undistorted_slope(const Lens& lens, const Eigen::Vector2d& target) {
  Eigen::Vector2d slope = target;
  if (!in_domain(lens, slope.squaredNorm())) slope *= 0.9 * lens.domain() / slope.norm();
  double miss = (distort(lens, slope).value - target).norm();
  for (int i = 0; i < 100 && miss > 1e-15; ++i) {
    const Distorted d = distort(lens, slope);
    const Eigen::Vector2d step = d.jacobian.partialPivLu().solve(target - d.value);
    double scale = 1;
    Eigen::Vector2d next = slope;
    double next_miss = miss;
    for (; scale > 1e-9; scale /= 2) {
      next = slope + scale * step;
      if (!in_domain(lens, next.squaredNorm())) continue;
      next_miss = (distort(lens, next).value - target).norm();
      if (next_miss < miss) break;
    }
    if (!(next_miss < miss)) break;
    slope = next;
    miss = next_miss;
  }
  if (!(miss < 1e-12)) return {kNan, kNan};
  return slope;
}

Eigen::Vector2d slope_of(const Lens& lens, const Eigen::Vector2d& in_photo) {
  Eigen::Vector2d pixel = in_photo;
  if (lens.shifts()) {  // the shift changes by a thousandth of itself within its own length: three steps are exact
    for (int i = 0; i < 3; ++i) pixel = in_photo - lens.shift(pixel);
  }
  return undistorted_slope(lens, {(pixel.x() - lens.cx) / lens.fx, (pixel.y() - lens.cy) / lens.fy});
}

LensMatrix parse_correlation(const core::JsonNode& rows) {
  LensMatrix correlation;
  if (rows.size() != kLensParameters) rows.fail("needs 9 rows");
  for (int i = 0; i < kLensParameters; ++i) {
    const std::vector<double> row = rows.at(static_cast<std::size_t>(i)).numbers(kLensParameters);
    correlation.row(i) = Eigen::Map<const Eigen::RowVectorXd>(row.data(), kLensParameters);
  }
  const bool plausible = (correlation.diagonal().array() - 1).abs().maxCoeff() < 1e-9 &&
                         correlation.cwiseAbs().maxCoeff() < 1 + 1e-9 &&
                         (correlation - correlation.transpose()).cwiseAbs().maxCoeff() < 1e-9 &&
                         Eigen::SelfAdjointEigenSolver<LensMatrix>(correlation).eigenvalues()(0) > -1e-6;
  if (!plausible) rows.fail("is not a correlation matrix");
  return correlation;
}

std::string size_text(int width, int height) {
  return std::to_string(width) + " x " + std::to_string(height);
}

}  // namespace

LensVector Lens::parameters() const {
  LensVector p;
  p << fx, fy, cx, cy, k1, k2, p1, p2, k3;
  return p;
}

void Lens::set_parameters(const LensVector& p) {
  fx = p[0], fy = p[1], cx = p[2], cy = p[3], k1 = p[4], k2 = p[5], p1 = p[6], p2 = p[7], k3 = p[8];
}

void Lens::set_covariance(const LensMatrix& covariance) {
  sd = covariance.diagonal().cwiseMax(0).cwiseSqrt();
  correlation.setIdentity();
  for (int i = 0; i < kLensParameters; ++i) {
    for (int j = 0; j < kLensParameters; ++j) {
      const double both = sd[i] * sd[j];
      if (i != j && both > 0)
        correlation(i, j) = std::clamp(0.5 * (covariance(i, j) + covariance(j, i)) / both, -1.0, 1.0);
    }
  }
}

double Lens::domain() const {
  // First positive root in q = r2 of d(r s)/dr = 1 + 3 k1 q + 5 k2 q^2 + 7 k3 q^3; looked for by steps in r
  // small against the span of any lens (tan 85 deg = 11.4), then halved.
  const auto rise = [this](double r) {
    const double q = r * r;
    return 1 + q * (3 * k1 + q * (5 * k2 + q * 7 * k3));
  };
  constexpr double kStep = 0.01, kEnd = 12;
  for (double r = kStep; r < kEnd; r += kStep) {
    if (rise(r) > 0) continue;
    const auto to_the_last_bit = [](double, double) { return false; };
    return boost::math::tools::bisect(rise, r - kStep, r, to_the_last_bit).first;
  }
  return std::numeric_limits<double>::infinity();
}

Eigen::Vector2d Lens::project(const Eigen::Vector3d& p_camera) const {
  if (!(p_camera.z() > 0)) return {kNan, kNan};
  const double x = p_camera.x() / p_camera.z(), y = p_camera.y() / p_camera.z();
  if (!in_domain(*this, x * x + y * y)) return {kNan, kNan};
  const double lens[kLensParameters] = {fx, fy, cx, cy, k1, k2, p1, p2, k3};
  Eigen::Vector2d pixel;
  brown_project(lens, p_camera.data(), pixel.data());
  if (shifts()) pixel += shift(pixel);
  return pixel;
}

Eigen::Vector3d Lens::undistort(const Eigen::Vector2d& pixel) const {
  const Eigen::Vector2d slope = slope_of(*this, pixel);
  return Eigen::Vector3d(slope.x(), slope.y(), 1).normalized();
}

bool Lens::in_frame(const Eigen::Vector2d& pixel, double margin_px) const {
  return pixel.x() >= margin_px && pixel.y() >= margin_px && pixel.x() <= width - 1 - margin_px &&
         pixel.y() <= height - 1 - margin_px;
}

Lens Lens::scaled_to(int new_width, int new_height) const {
  if (new_width == width && new_height == height) return *this;
  const double scale = static_cast<double>(new_width) / width;
  // One picture's side rounded to a whole pixel: half a pixel of the smaller of the two.
  const auto same_aspect = [&](double w, double h) {
    return std::abs(w * height - h * width) <= 0.5 * std::max({width, height, new_width, new_height}) + 1e-9;
  };
  if (!same_aspect(new_width, new_height)) {
    const bool swapped = same_aspect(new_height, new_width);
    throw core::InputError(
        "a lens of " + size_text(width, height) + " pixels does not fit photos of " +
        size_text(new_width, new_height) +
        (swapped ? "; the sides are swapped: use the photos as the camera wrote them, not turned by a "
                   "program"
                 : "; the aspect differs: use whole photos, not cropped ones"));
  }
  Lens out = *this;
  out.width = new_width;
  out.height = new_height;
  out.fx *= scale, out.fy *= scale;
  out.cx = (cx + 0.5) * scale - 0.5;
  out.cy = (cy + 0.5) * scale - 0.5;
  out.row_shift_px *= scale;
  if (residual) out.residual = std::make_shared<const ShiftField>(residual->scaled(scale));
  out.sd.head<4>() *= scale;
  out.rms_px *= scale;
  return out;
}

void Lens::check(const std::string& file) const {
  const auto require = [&file](bool ok, const char* what) {
    if (!ok) throw core::InputError(file, what);
  };
  require(width >= 16 && height >= 16 && width <= 100000 && height <= 100000, "the picture size is absurd");
  require(parameters().allFinite() && sd.allFinite(), "holds a number that is not finite");
  const double diagonal = std::hypot(width, height);
  require(fx > 0.1 * diagonal && fy > 0.1 * diagonal && fx < 100 * diagonal && fy < 100 * diagonal,
          "the focal length is absurd for the picture size");
  require(fx / fy > 0.5 && fx / fy < 2, "fx and fy differ too much");
  require(cx > 0 && cy > 0 && cx < width && cy < height, "the principal point lies outside the picture");
  // The distortion must be one-to-one over the frame; along the border is where it would fail.
  constexpr int kSteps = 16;
  for (int i = 0; i <= kSteps; ++i) {
    const double x = (width - 1.0) * i / kSteps, y = (height - 1.0) * i / kSteps;
    for (const Eigen::Vector2d& pixel : {Eigen::Vector2d(x, 0), Eigen::Vector2d(x, height - 1.0),
                                         Eigen::Vector2d(0, y), Eigen::Vector2d(width - 1.0, y)}) {
      require(slope_of(*this, pixel).allFinite(),
              "the distortion folds over inside the picture (k1, k2, k3 do not belong to a real lens)");
    }
  }
}

Lens plain_lens(int width, int height, double focal_px) {
  Lens lens;
  lens.width = width;
  lens.height = height;
  lens.fx = lens.fy = focal_px;
  lens.cx = (width - 1) / 2.0;
  lens.cy = (height - 1) / 2.0;
  return lens;
}

std::string write_lens(const Lens& lens) {
  nlohmann::ordered_json doc;
  doc["format"] = "interstice-lens";
  doc["version"] = 1;
  doc["camera"] = lens.camera;
  doc["width"] = lens.width;
  doc["height"] = lens.height;
  const LensVector p = lens.parameters();
  for (int i = 0; i < kLensParameters; ++i) doc[kLensParameterNames[i]] = p[i];
  for (int i = 0; i < kLensParameters; ++i) doc["sd"][kLensParameterNames[i]] = lens.sd[i];
  for (int i = 0; i < kLensParameters; ++i) {
    auto row = nlohmann::ordered_json::array();
    for (int j = 0; j < kLensParameters; ++j) row.push_back(lens.correlation(i, j));
    doc["correlation"].push_back(row);
  }
  doc["rms_px"] = lens.rms_px;
  doc["coverage"] = lens.coverage;
  doc["photos_used"] = lens.photos_used;
  return doc.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

Lens parse_lens(const std::string& json_text, const std::string& file) {
  const nlohmann::json value = core::parse_json(json_text, file);
  const core::JsonNode doc(value, file);
  if (doc.at("format").text() != "interstice-lens") doc.at("format").fail("is not \"interstice-lens\"");
  doc.at("version").integer(1, 1);
  Lens lens;
  if (doc.has("camera")) lens.camera = doc.at("camera").text(400);
  lens.width = doc.at("width").integer(16, 100000);
  lens.height = doc.at("height").integer(16, 100000);
  LensVector p;
  for (int i = 0; i < kLensParameters; ++i) p[i] = doc.at(kLensParameterNames[i]).number(-1e6, 1e6);
  lens.set_parameters(p);
  if (doc.has("sd")) {
    for (int i = 0; i < kLensParameters; ++i)
      lens.sd[i] = doc.at("sd").at(kLensParameterNames[i]).number(0, 1e6);
  }
  if (doc.has("correlation")) lens.correlation = parse_correlation(doc.at("correlation"));
  if (doc.has("rms_px")) lens.rms_px = doc.at("rms_px").number(0, 1e6);
  if (doc.has("coverage")) lens.coverage = doc.at("coverage").number(0, 1);
  if (doc.has("photos_used")) lens.photos_used = doc.at("photos_used").integer(0, 1000000);
  lens.check(file);
  return lens;
}

Lens read_lens(const std::filesystem::path& path) {
  return parse_lens(core::read_file(path, 1u << 20), path.string());
}

}  // namespace interstice::camera
