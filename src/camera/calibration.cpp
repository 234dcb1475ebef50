#include "camera/calibration.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <set>

#include "camera/calibration_solver.h"
#include "core/counted.h"
#include "core/errors.h"
#include "core/median.h"

namespace interstice::camera {
namespace {

// A residual beyond this many standard deviations is a wrong corner: by chance one in 270 000 (Rayleigh).
constexpr double kWrongCorner = 5.0;
// A view whose scatter is this many times the others' does not show a flat, sharp target. ...
constexpr double kBadViewRatio = 4.0;
// ... but scatter below this harms nothing.
constexpr double kFineViewPx = 0.25;
// When the card never came near the frame's corners the radial terms hang together and the distortion there
// is unsure, which the covariance says. Only when it says next to nothing is the highest term held at zero.
constexpr double kCornerSdShare = 0.01;

CalibrationState initial_state(int width, int height, double focal_px,
                               const std::vector<CalibrationView>& views, const CalibrationOptions& options) {
  CalibrationState state;
  state.lens = plain_lens(width, height, focal_px).parameters();
  state.pose.assign(views.size(), {0, 0, 0, 0, 0, 0});
  for (const CalibrationView& view : views) {
    const bool enough = static_cast<int>(view.pixel.size()) >= options.fewest_corners;
    state.use_corner.emplace_back(view.pixel.size(), enough);
  }
  return state;
}

std::set<std::string> photos_in_use(const std::vector<CalibrationView>& views,
                                    const CalibrationState& state) {
  std::set<std::string> photos;
  for (std::size_t v = 0; v < views.size(); ++v) {
    const auto& use = state.use_corner[v];
    if (std::find(use.begin(), use.end(), true) != use.end()) photos.insert(views[v].photo);
  }
  return photos;
}

void require_photos(const std::vector<CalibrationView>& views, const CalibrationState& state,
                    const CalibrationOptions& options) {
  const std::size_t usable = photos_in_use(views, state).size();
  if (static_cast<int>(usable) >= options.fewest_photos) return;
  throw core::MeasureError("only " + core::counted(usable, "usable photo") + " of the card; at least " +
                           std::to_string(options.fewest_photos) +
                           " are needed: photograph it sharp and whole, from different sides and tilted");
}

// Scatter of weighted residuals in one direction, from the median distance, deaf to a minority of wrong ones.
double robust_scatter(const std::vector<CalibrationView>& views, const CalibrationState& state) {
  const auto residuals = calibration_residuals(views, state);
  std::vector<double> lengths;
  for (std::size_t v = 0; v < views.size(); ++v) {
    for (std::size_t c = 0; c < residuals[v].size(); ++c) {
      if (state.use_corner[v][c]) lengths.push_back(residuals[v][c].norm() / corner_weight_sd(views[v], c));
    }
  }
  return core::median(lengths) / 1.1774;  // median of a Rayleigh distribution of unit scale
}

// From every start the solution is followed robustly; flipped planes are tried again with the lens found.
CalibrationState robust_solution(int width, int height, const std::vector<double>& focal_starts,
                                 const std::vector<CalibrationView>& views,
                                 const CalibrationOptions& options) {
  CalibrationState best;
  double best_scatter = std::numeric_limits<double>::infinity();
  for (const double focal : focal_starts) {
    CalibrationState state = initial_state(width, height, focal, views, options);
    start_poses(views, state);
    require_photos(views, state, options);
    // The distortion comes in last: with rough poses the high terms run away.
    for (const int held : {2, 2, 1, 0, 0}) {
      SolverSettings settings{options.one_focal, held, 0};
      settings.robust_scale = 2 * std::max(robust_scatter(views, state), 1e-6);
      solve_calibration(views, settings, state);
      start_poses(views, state);
    }
    const double scatter = robust_scatter(views, state);
    if (!(scatter < best_scatter)) continue;
    best_scatter = scatter;
    best = std::move(state);
  }
  return best;
}

double view_rms(const std::vector<Eigen::Vector2d>& residuals, const std::vector<bool>& use) {
  double sum = 0;
  int n = 0;
  for (std::size_t c = 0; c < residuals.size(); ++c) {
    if (use[c]) sum += residuals[c].squaredNorm(), ++n;
  }
  return n ? std::sqrt(sum / n) : 0;
}

// Marks wrong corners and views as not used. True when anything changed.
bool leave_out_wrong(const std::vector<CalibrationView>& views, const CalibrationOptions& options,
                     CalibrationState& state, std::vector<CalibratedView>& results) {
  const auto residuals = calibration_residuals(views, state);
  const double scatter = robust_scatter(views, state);
  bool changed = false;
  std::vector<double> rms;
  for (std::size_t v = 0; v < views.size(); ++v) {
    auto& use = state.use_corner[v];
    const double of_view = view_rms(residuals[v], use);
    if (of_view > 0) rms.push_back(of_view);
  }
  const double usual = core::median(rms);
  for (std::size_t v = 0; v < views.size(); ++v) {
    auto& use = state.use_corner[v];
    const double before = view_rms(residuals[v], use);
    const auto in_use = std::count(use.begin(), use.end(), true);
    for (std::size_t c = 0; c < use.size(); ++c) {
      if (!use[c] || residuals[v][c].norm() <= kWrongCorner * scatter * corner_weight_sd(views[v], c))
        continue;
      use[c] = false;
      changed = true;
    }
    const auto left = std::count(use.begin(), use.end(), true);
    if (in_use == 0) continue;
    const bool bad = before > std::max(kFineViewPx, kBadViewRatio * usual) && 2 * left < in_use;
    if (bad || left < options.fewest_corners) {
      use.assign(use.size(), false);
      results[v].reason = fmt::format(
          "its corners miss those of a flat card by {:.2f} px (others {:.2f}): blurred, bent or moved",
          before, usual);
      changed = true;
    }
  }
  return changed;
}

void fill_views(const std::vector<CalibrationView>& views, const CalibrationState& state,
                const CalibrationOptions& options, Calibration& out) {
  const auto residuals = calibration_residuals(views, state);
  double sum = 0;
  for (std::size_t v = 0; v < views.size(); ++v) {
    CalibratedView& result = out.views[v];
    const auto& use = state.use_corner[v];
    result.corners_used = static_cast<int>(std::count(use.begin(), use.end(), true));
    result.corners_left_out = static_cast<int>(use.size()) - result.corners_used;
    result.used = result.corners_used > 0;
    result.rms_px = view_rms(residuals[v], use);
    for (int k = 0; k < 3; ++k) {
      result.rotation[k] = state.pose[v][static_cast<std::size_t>(k)];
      result.translation_mm[k] = state.pose[v][static_cast<std::size_t>(k + 3)];
    }
    if (!result.used && result.reason.empty()) {
      result.reason = "only " + core::counted(use.size(), "corner") + " found, " +
                      std::to_string(options.fewest_corners) + " are needed";
    }
    out.corners_used += result.corners_used;
    sum += result.rms_px * result.rms_px * result.corners_used;
  }
  out.lens.rms_px = std::sqrt(sum / std::max(1, out.corners_used));
}

// Weighted residuals' variance with the unknowns taken off.
double residual_variance(const std::vector<CalibrationView>& views, const CalibrationState& state,
                         const SolverSettings& settings) {
  const auto residuals = calibration_residuals(views, state);
  double sum = 0;
  int n = 0, used_views = 0;
  for (std::size_t v = 0; v < views.size(); ++v) {
    int in_view = 0;
    for (std::size_t c = 0; c < residuals[v].size(); ++c) {
      if (!state.use_corner[v][c]) continue;
      sum += std::pow(residuals[v][c].norm() / corner_weight_sd(views[v], c), 2);
      ++in_view;
    }
    n += in_view;
    used_views += in_view > 0;
  }
  const int unknowns =
      kLensParameters - settings.held_at_zero - (settings.one_focal ? 1 : 0) + 6 * used_views;
  return sum / std::max(1, 2 * n - unknowns);
}

// Standard uncertainty of the distortion in the worst of the frame's corners.
double corner_distortion_sd(const Lens& lens, const LensMatrix& covariance) {
  double worst = 0;
  for (const double px : {0.0, lens.width - 1.0}) {
    for (const double py : {0.0, lens.height - 1.0}) {
      const double x = (px - lens.cx) / lens.fx, y = (py - lens.cy) / lens.fy, r2 = x * x + y * y;
      Eigen::Matrix<double, 2, 5> j;                                          // k1 k2 p1 p2 k3
      j << x * r2, x * r2 * r2, 2 * x * y, r2 + 2 * x * x, x * r2 * r2 * r2,  //
          y * r2, y * r2 * r2, r2 + 2 * y * y, 2 * x * y, y * r2 * r2 * r2;
      const Eigen::Matrix2d c = j * covariance.bottomRightCorner<5, 5>() * j.transpose();
      worst = std::max(worst, std::sqrt(std::max(0.0, c.trace() / 2)) * std::sqrt(lens.fx * lens.fy));
    }
  }
  return worst;
}

[[noreturn]] void fail_undetermined() {
  throw core::MeasureError(
      "the photos are too alike to tell the focal length: take more with the card tilted 30 to 45 degrees to "
      "either side, forwards and back");
}

bool lens_fits_frame(const Lens& lens) {
  try {
    lens.check("");
    return true;
  } catch (const core::InputError&) {
    return false;
  }
}

// Plain least squares, then the lens with its uncertainty; holds radial terms at zero that the views cannot
// tell.
void finish(const std::vector<CalibrationView>& views, const CalibrationOptions& options,
            CalibrationState& state, Calibration& out) {
  const double diagonal = std::hypot(out.lens.width, out.lens.height);
  for (out.held_at_zero = 0; out.held_at_zero <= 2; ++out.held_at_zero) {
    const SolverSettings settings{options.one_focal, out.held_at_zero, 0};
    solve_calibration(views, settings, state);
    out.lens.set_parameters(state.lens);
    LensMatrix covariance;
    if (!lens_covariance(views, settings, state, covariance)) {
      if (out.held_at_zero < 2) continue;
      fail_undetermined();
    }
    covariance *= residual_variance(views, state, settings);
    out.lens.set_covariance(covariance);
    out.corner_sd_px = corner_distortion_sd(out.lens, covariance);
    if (!options.leave_out) return;
    if (out.corner_sd_px <= kCornerSdShare * diagonal && lens_fits_frame(out.lens)) break;
    if (out.held_at_zero == 2) break;
  }
  const LensVector& sd = out.lens.sd;
  const bool focal_known =
      sd[0] <= options.focal_sd_limit * out.lens.fx && sd[1] <= options.focal_sd_limit * out.lens.fy;
  const bool middle_known = sd.segment<2>(2).maxCoeff() <= options.principal_sd_limit * diagonal;
  if (!focal_known || !middle_known || !lens_fits_frame(out.lens)) fail_undetermined();
}

}  // namespace

Calibration calibrate(int width, int height, double start_focal_px, const std::vector<CalibrationView>& views,
                      const CalibrationOptions& options) {
  // A second and third start serve wide and long lenses whose EXIF says nothing.
  CalibrationState state = robust_solution(
      width, height, {start_focal_px, 0.5 * start_focal_px, 2.5 * start_focal_px}, views, options);
  Calibration out;
  out.lens = plain_lens(width, height, start_focal_px);
  out.views.resize(views.size());
  if (options.leave_out) {
    for (int round = 0; round < 6 && leave_out_wrong(views, options, state, out.views); ++round) {
      require_photos(views, state, options);
      SolverSettings settings{options.one_focal, 0, 2 * std::max(robust_scatter(views, state), 1e-6)};
      solve_calibration(views, settings, state);
    }
  }
  require_photos(views, state, options);
  finish(views, options, state, out);
  fill_views(views, state, options, out);
  out.lens.photos_used = static_cast<int>(photos_in_use(views, state).size());
  std::vector<CalibrationView> used;
  for (std::size_t v = 0; v < views.size(); ++v) {
    if (out.views[v].used) used.push_back(views[v]);
  }
  out.lens.coverage = frame_coverage(width, height, used);
  return out;
}

double frame_coverage(int width, int height, const std::vector<CalibrationView>& views) {
  const double scale = 200.0 / std::max(width, height);
  cv::Mat seen = cv::Mat::zeros(std::max(1, static_cast<int>(height * scale)),
                                std::max(1, static_cast<int>(width * scale)), CV_8UC1);
  for (const CalibrationView& view : views) {
    std::vector<cv::Point> points, hull;
    for (const Eigen::Vector2d& p : view.pixel) {
      points.emplace_back(static_cast<int>(std::lround((p.x() + 0.5) * scale - 0.5)),
                          static_cast<int>(std::lround((p.y() + 0.5) * scale - 0.5)));
    }
    if (points.size() < 3) continue;
    cv::convexHull(points, hull);
    cv::fillConvexPoly(seen, hull, cv::Scalar(255));
  }
  return static_cast<double>(cv::countNonZero(seen)) / static_cast<double>(seen.total());
}

}  // namespace interstice::camera
