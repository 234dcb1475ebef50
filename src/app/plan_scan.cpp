#include "app/plan_scan.h"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "camera/lens.h"
#include "surface/map_picture.h"
#include "surface/pictures.h"

namespace interstice::app {
namespace {

constexpr std::size_t kViews = 3;  // the most square-on; more would soften thin lines where poses differ

// About the photos' own resolution on the form, so that lines are neither lost nor invented.
double step_for(const scan::Scan& scan) {
  return std::clamp(scan.quality.pixel_footprint_mm, 0.1, 0.4);
}

}  // namespace

BareForm measure_bare_form(const BareFormPhotos& photos, Progress& progress) {
  scan::ScanOptions options;
  options.threads = photos.threads;
  options.check_line_mm = photos.check_line_mm;
  options.progress = [&](const std::string& what) { progress.step(what); };
  if (!photos.lens.empty()) options.lens = camera::read_lens(photos.lens);
  BareForm form;
  form.bare = form::scan_bare_form(photos.folder, options);
  form::ShapeOptions shape;
  shape.threads = photos.threads;
  shape.scale_sd = form.bare.scan.quality.scale_sd;
  shape.cards_uneven_mm = form.bare.cards_uneven_mm;
  shape.progress = options.progress;
  form::PlacedShape placed = form::measure_shape(std::move(form.bare.scan), form.bare.rough, shape);
  form.bare.scan = std::move(placed.scan);
  form.shape = std::move(placed.shape);
  return form;
}

geometry::OrthoPicture picture_of_bare_form(const BareForm& form, int threads) {
  const scan::Scan& scan = form.bare.scan;
  const double step = step_for(scan);
  const surface::MapGrid grid = surface::MapGrid::covering(form.shape.profile.length() + 4, step);
  const auto pictures = surface::read_pictures(scan, step, true, threads);
  const cv::Mat heights = surface::regridded(form.shape.surface, form.shape.heights.grid, grid);
  const cv::Mat colours =
      surface::map_picture(scan, pictures, form.shape.profile, grid, 0.0, heights, kViews, threads);
  geometry::OrthoPicture picture;
  picture.mm_per_px = step;
  picture.cx = picture.cy = grid.centre;
  picture.bgr.create(colours.size(), CV_8UC3);
  picture.confidence.create(colours.size(), CV_8U);
  for (int y = 0; y < colours.rows; ++y) {
    for (int x = 0; x < colours.cols; ++x) {
      const cv::Vec3f& c = colours.at<cv::Vec3f>(y, x);
      const bool seen = std::isfinite(c[0]);
      picture.confidence.at<uchar>(y, x) = seen ? 255 : 0;
      for (int k = 0; k < 3; ++k)
        picture.bgr.at<cv::Vec3b>(y, x)[k] = seen ? cv::saturate_cast<uchar>(c[k]) : uchar{0};
    }
  }
  return picture;
}

}  // namespace interstice::app
