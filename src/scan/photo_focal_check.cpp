#include "scan/photo_focal_check.h"

#include <ceres/ceres.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <vector>

#include "camera/cards.h"
#include "core/median.h"
#include "scan/reproject.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kCornerLoss = 3.0;  // as the bundle's: beyond it residuals count less (Cauchy)
constexpr int kUnknowns = 7;         // rotation vector, translation, logarithm of the focal length
using Vector7 = Eigen::Matrix<double, kUnknowns, 1>;
using Matrix7 = Eigen::Matrix<double, kUnknowns, kUnknowns>;

struct Seen {
  Vector3d p_bench;
  Vector2d pixel;
  double sd_px;
};

struct Camera {
  Isometry3d camera_T_bench;
  camera::Lens lens;

  Camera moved(const Vector7& m) const {
    Camera c = *this;
    const double angle = m.head<3>().norm();
    if (angle > 0)
      c.camera_T_bench.linear() =
          Eigen::AngleAxisd(angle, m.head<3>() / angle).toRotationMatrix() * c.camera_T_bench.linear();
    c.camera_T_bench.translation() += m.segment<3>(3);
    c.lens.fx *= std::exp(m[6]);
    c.lens.fy *= std::exp(m[6]);
    return c;
  }
  Vector2d project(const Vector3d& p_bench) const { return lens.project(camera_T_bench * p_bench); }
};

using Slope = Eigen::Matrix<double, 2, kUnknowns>;

Slope slope_at(const Camera& camera, const Vector3d& p_bench) {
  Slope slope;
  for (int k = 0; k < kUnknowns; ++k) {
    Vector7 d = Vector7::Zero();
    d[k] = k < 3 || k == 6 ? 1e-6 : 1e-4;
    slope.col(k) = (camera.moved(d).project(p_bench) - camera.moved(-d).project(p_bench)) / (2 * d[k]);
  }
  return slope;
}

struct Normal {
  Matrix7 matrix = Matrix7::Zero();
  Vector7 right = Vector7::Zero();
};

Normal normal_at(const Camera& camera, const std::vector<Seen>& seen) {
  Normal n;
  for (const Seen& s : seen) {
    const Vector2d r = (s.pixel - camera.project(s.p_bench)) / s.sd_px;
    const Slope slope = slope_at(camera, s.p_bench) / s.sd_px;
    if (!r.allFinite() || !slope.allFinite()) continue;
    const double weight = 1 / (1 + r.squaredNorm() / (kCornerLoss * kCornerLoss));
    n.matrix += weight * slope.transpose() * slope;
    n.right += weight * slope.transpose() * r;
  }
  return n;
}

// A corner before a camera of seven unknowns: rotation vector, translation, logarithm of the focal length.
struct SeenCost {
  camera::LensVector lens;
  Seen seen;
  template <class T>
  bool operator()(const T* camera, T* r) const {
    const T p_bench[3] = {T(seen.p_bench.x()), T(seen.p_bench.y()), T(seen.p_bench.z())};
    T all[camera::kLensParameters];
    for (int i = 0; i < camera::kLensParameters; ++i) all[i] = T(lens[i]);
    const T focus = exp(camera[6]);
    const T still[2] = {T(0), T(0)};
    return reproject(all, &focus, still, camera, p_bench, {seen.pixel, seen.sd_px, 1}, r);
  }
};

// Pose and focal length from these corners alone, weighed as the bundle weighs corners, from the pose the
// photo has in the bundle.
Camera solved(Camera camera, const std::vector<Seen>& seen) {
  const Pose start = to_pose(camera.camera_T_bench);
  std::array<double, kUnknowns> x{};
  std::copy(start.begin(), start.end(), x.begin());
  ceres::Problem problem;
  for (const Seen& s : seen) {
    problem.AddResidualBlock(
        new ceres::AutoDiffCostFunction<SeenCost, 2, kUnknowns>(new SeenCost{camera.lens.parameters(), s}),
        new ceres::CauchyLoss(kCornerLoss), x.data());
  }
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_QR;
  options.max_num_iterations = 60;
  options.function_tolerance = 1e-9;
  options.num_threads = 1;
  options.logging_type = ceres::SILENT;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  if (!summary.IsSolutionUsable()) return camera;
  Pose end{};
  std::copy_n(x.begin(), end.size(), end.begin());
  camera.camera_T_bench = to_isometry(end);
  camera.lens.fx *= std::exp(x[6]);
  camera.lens.fy *= std::exp(x[6]);
  return camera;
}

// How far a sheet that is not flat may shift the focal length: each way a sheet bends, of each card, counts
// as one reading however many corners show it.
double bent_variance(const Bundle& b, geometry::PhotoIndex photo, const Camera& camera,
                     const Matrix7& inverse) {
  std::map<std::size_t, std::array<Vector7, 3>> bends;
  for (const CornerObservation& o : b.corners) {
    if (o.photo != photo) continue;
    const Isometry3d camera_T_card = camera.camera_T_bench * b.bench_T_card[o.card];
    const Vector3d up(0, 0, kSheetFlat_mm);
    const Vector2d shift =
        camera.lens.project(camera_T_card * (o.p_card + up)) - camera.lens.project(camera_T_card * o.p_card);
    const Slope slope = slope_at(camera, b.bench_T_card[o.card] * o.p_card);
    if (!shift.allFinite() || !slope.allFinite()) continue;
    const double x = 2 * o.p_card.x() / (camera::kBoardColumns * camera::kSquareMm),
                 y = 2 * o.p_card.y() / (camera::kBoardRows * camera::kSquareMm);
    auto [it, fresh] = bends.try_emplace(o.card.value);
    if (fresh) it->second.fill(Vector7::Zero());
    const Vector7 pull = slope.transpose() * shift / (o.sd_px * o.sd_px);
    it->second[0] += x * x * pull;
    it->second[1] += y * y * pull;
    it->second[2] += x * y * pull;
  }
  double variance = 0;
  for (const auto& [card, ways] : bends) {
    for (const Vector7& way : ways) variance += std::pow((inverse * way)[6], 2);
  }
  return variance;
}

}  // namespace

OwnFocus own_focus(const Bundle& b, geometry::PhotoIndex photo) {
  std::vector<Seen> seen;
  for (const CornerObservation& o : b.corners) {
    if (o.photo == photo) seen.push_back({b.bench_T_card[o.card] * o.p_card, o.pixel, o.sd_px});
  }
  if (seen.size() < kUnknowns) return {};
  const camera::Lens lens = lens_of_photo(b, photo);
  const Camera camera = solved({b.camera_T_bench[photo], lens}, seen);
  const Matrix7 inverse = normal_at(camera, seen).matrix.ldlt().solve(Matrix7::Identity());
  std::vector<double> normed;
  for (const Seen& s : seen) {
    const Vector2d r = s.pixel - camera.project(s.p_bench);
    normed.push_back(std::abs(r.x()) / s.sd_px);
    normed.push_back(std::abs(r.y()) / s.sd_px);
  }
  const double usual = std::max(1.0, core::robust_sd(std::move(normed)));
  const double variance = usual * usual * inverse(6, 6) + bent_variance(b, photo, camera, inverse);
  if (!(inverse(6, 6) > 0) || !std::isfinite(variance)) return {};
  return {camera.lens.fx / lens.fx, std::sqrt(variance)};
}

std::optional<geometry::PhotoIndex> against_its_lens(const Bundle& b) {
  constexpr double kSure = 5;  // standard deviations
  std::map<LensIndex, int> photos_of;
  for (const LensIndex lens : b.lens_of) ++photos_of[lens];
  std::optional<geometry::PhotoIndex> odd;
  double most = kSure;
  for (std::size_t i = 0; i < b.camera_T_bench.size(); ++i) {
    const geometry::PhotoIndex photo(i);
    if (photos_of[b.lens_of[photo]] < 2) continue;
    const OwnFocus own = own_focus(b, photo);
    const double off = std::abs(b.focus[photo] * own.factor - 1);
    if (off <= kRefocus || off <= most * own.sd) continue;
    most = off / own.sd;
    odd = photo;
  }
  return odd;
}

bool settles_its_lens(const Bundle& bundle, geometry::PhotoIndex photo) {
  return 3 * own_focus(bundle, photo).sd <= kRefocus;
}

}  // namespace interstice::scan
