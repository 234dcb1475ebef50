#include "surface/surface.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "core/errors.h"
#include "scan/few_photos.h"
#include "surface/form_motion.h"
#include "surface/form_offset.h"
#include "surface/map_picture.h"

namespace interstice::surface {
namespace {

// Highest a face may stand over the stock's thickness: flat faces over a round form, pieces lifted by glue.
constexpr double kHeadroom_mm = 5.0;
constexpr std::size_t kMostElsewhere = 4;  // a quarter of the photos, as many as may disagree on the cards
// The right turn must stand out of the others: chance maxima of a smooth curve over a full turn stay under
// three standard deviations. Where only a part of a form is covered, the curve swings with the wood the plan
// covers, and the right turn must stand out of its surroundings: the largest of some 120 chance values (peaks
// are three degrees wide) passes 4.5 once in 2000.
constexpr double kLeastClearance = 3.0, kLeastOverSurroundings = 4.5;

// Photos that show the form where most do not have it are left out and named. Too many of them are refused: which of
// them are right, nobody can say.
scan::Scan without_elsewhere(scan::Scan scan, const std::vector<ElsewhereIn>& elsewhere) {
  if (kMostElsewhere * elsewhere.size() > scan.photos.size()) {
    const auto farthest =
        std::max_element(elsewhere.begin(), elsewhere.end(),
                         [](const ElsewhereIn& a, const ElsewhereIn& b) { return a.moved_mm < b.moved_mm; });
    throw core::MeasureError(
        "the form lies elsewhere in " + core::one_line(scan.photos[farthest->photo].info.name, 60) +
        " and others than in most photos: leave form and cards where they are until all photos are taken");
  }
  geometry::IndexedVector<geometry::PhotoIndex, scan::ScannedPhoto> kept;
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const auto it = std::find_if(elsewhere.begin(), elsewhere.end(),
                                 [&](const ElsewhereIn& e) { return e.photo == geometry::PhotoIndex(i); });
    if (it == elsewhere.end()) {
      kept.push_back(std::move(scan.photos[geometry::PhotoIndex(i)]));
      continue;
    }
    scan.left_out.push_back(
        {scan.photos[geometry::PhotoIndex(i)].info.name,
         fmt::format("shows the form elsewhere than the other photos, by about {:.1f} mm", it->moved_mm)});
  }
  scan.photos = std::move(kept);
  return scan;
}

void refuse_no_pattern(const Turn& turn, std::size_t photos) {
  if (turn.clearance >= kLeastClearance || turn.over_surroundings >= kLeastOverSurroundings) return;
  throw core::MeasureError(scan::few_photos_or(
      photos,
      "the plan's pattern was not found on the form; check that this is the form's plan and photograph it "
      "from all round, also from above"));
}

}  // namespace

cv::Mat filled_heights(const HeightField& field, double fallback_mm) {
  // NaN differs from itself. NOLINTNEXTLINE(misc-redundant-expression)
  const cv::Mat known = field.height == field.height;
  cv::Mat values = field.height.clone();
  values.setTo(0, ~known);
  cv::Mat weight;
  known.convertTo(weight, CV_32F, 1.0 / 255);
  cv::Mat filled = values.clone();
  cv::Mat todo = ~known;
  for (double sigma = 1.5; sigma < 20 && cv::countNonZero(todo) > 0; sigma *= 2) {
    cv::Mat v, w;
    cv::GaussianBlur(values, v, {0, 0}, sigma);
    cv::GaussianBlur(weight, w, {0, 0}, sigma);
    const cv::Mat enough = (w > 0.05f) & todo;
    cv::Mat ratio = v / w;
    ratio.copyTo(filled, enough);
    todo &= ~enough;
  }
  filled.setTo(fallback_mm, todo);
  return filled;
}

cv::Mat faces_on_map(const scan::Scan& scan,
                     const geometry::IndexedVector<geometry::PhotoIndex, Picture>& pictures,
                     const plan::Plan& plan, const MapGrid& grid, int threads) {
  return map_picture(scan, pictures, plan.profile, grid, plan.tile_thickness_mm + 0.5, {}, 2, threads);
}

AlignedScan align_to_plan(scan::Scan scan, const plan::Plan& plan, const SurfaceOptions& options) {
  Surface surface;
  options.progress("laying the photos out on the form");
  // Patches of a few millimetres are compared: finer pictures only add noise and cost.
  const auto pictures = read_pictures(scan, kMapFootprint_mm, true, options.threads);
  const MapGrid grid = MapGrid::covering(plan.profile.length() + 2, options.grid_mm);
  if (options.turn) {
    surface.turn.angle = *options.turn;
  } else {
    surface.turn = find_turn(faces_on_map(scan, pictures, plan, grid, options.threads), grid, plan,
                             plan.tile_thickness_mm, false, options.threads);
    refuse_no_pattern(surface.turn, scan.photos.size());
  }
  scan = scan::turned(std::move(scan), surface.turn.angle);
  options.progress("measuring heights");
  HeightOptions heights;
  heights.highest_mm = plan.tile_thickness_mm + kHeadroom_mm;
  heights.threads = options.threads;
  surface.heights = sweep_heights(scan, pictures, plan.profile, grid, heights);
  const Eigen::Vector3d middle(0, 0, plan.profile.points().front().y() / 2);
  const auto differences = place_differences(scan, pictures, plan.profile, surface.heights, options.threads);
  const std::vector<ElsewhereIn> elsewhere = form_elsewhere(differences, place_sds(scan, middle));
  if (!elsewhere.empty()) {
    SurfaceOptions again = options;
    if (options.turn) again.turn = 0;  // it is turned by now
    return align_to_plan(without_elsewhere(std::move(scan), elsewhere), plan, again);
  }
  surface.form = plan.profile.offset(form_offsets(surface.heights, plan));
  options.progress("drawing the map");
  surface.ortho_grid = MapGrid::covering(plan.profile.length() + 2, options.ortho_mm);
  const cv::Mat filled = filled_heights(surface.heights, plan.tile_thickness_mm);
  const cv::Mat fine = regridded(filled, grid, surface.ortho_grid);
  const cv::Mat colours =
      map_picture(scan, pictures, plan.profile, surface.ortho_grid, 0, fine, 1, options.threads);
  colours.convertTo(surface.ortho, CV_8UC3);
  return {std::move(scan), std::move(surface)};
}

}  // namespace interstice::surface
