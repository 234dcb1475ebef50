#include "report/photo_marks.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "core/parallel.h"
#include "geometry/profile.h"
#include "report/bench_list.h"
#include "report/label_places.h"
#include "report/photo_pen.h"
#include "report/photo_view.h"
#include "report/work_drawing.h"

namespace interstice::report {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

const cv::Scalar kOchre(0, 100, 168);  // B G R: between vermillion and yellow, dark enough on wood

// Every other stretch of a line, so that it differs from a whole one without colour.
void draw_dashes(cv::Mat& picture, const std::vector<cv::Point2d>& points, const cv::Scalar& colour,
                 int width, double dash_px) {
  std::vector<cv::Point2d> part;
  double gone = 0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (i > 0) gone += cv::norm(points[i] - points[i - 1]);
    part.push_back(points[i]);
    if (gone < dash_px) continue;
    draw_line(picture, part, false, colour, width);
    part.clear();
    gone = -dash_px / 2;
    while (i + 1 < points.size() && gone < 0) {
      gone += cv::norm(points[i + 1] - points[i]);
      ++i;
    }
    gone = 0;
    part.push_back(points[i]);
  }
  if (part.size() > 1) draw_line(picture, part, false, colour, width);
}

// The stretch of an edge to sand or ease.
std::vector<cv::Point2d> sanded_stretch(const PhotoView& view, const geometry::Profile& form,
                                        const seams::FitTile& tile, const seams::Correction& c) {
  std::vector<cv::Point2d> points;
  for (const Vector3d& p : worked_stretch(form, tile, c)) points.push_back(view.place(p));
  return points;
}

Vector3d middle_of(const seams::FitTile& tile) {
  Vector3d middle = Vector3d::Zero();
  for (const Vector3d& p : tile.arris) middle += p / static_cast<double>(tile.arris.size());
  return middle;
}

Vector3d step_of(const geometry::Profile& form, const seams::FitTile& tile, const seams::Correction& c) {
  const Vector2d uv = form.locate(middle_of(tile)).uv;
  return c.along_mm * form.along_ring(uv) + c.towards_pole_mm * form.towards_pole(uv);
}

// What to do to a piece: the edge to sand as a thick stripe, a move as an arrow (its direction; the length is
// written). Labels keep clear of the arrow.
void draw_corrections(cv::Mat& picture, const PhotoView& view, const seams::FitDocument& fit,
                      const seams::FitTile& tile, double unit, LabelPlaces& places) {
  const geometry::Profile form(fit.form_profile);
  const int wide = std::max(2, static_cast<int>(std::lround(3 * unit)));
  for (const seams::Correction& c : fit.corrections) {
    if (c.tile != tile.label) continue;
    if (c.action != seams::Correction::Action::move) {
      draw_line(picture, sanded_stretch(view, form, tile, c), false, kPurple, 2 * wide);
      continue;
    }
    constexpr double kArrow_mm = 12, kHead = 0.3;
    const Vector3d step = step_of(form, tile, c);
    if (step.norm() <= 1e-6) continue;
    const cv::Point2d from = view.place(middle_of(tile)),
                      to = view.place(middle_of(tile) + kArrow_mm * step.normalized());
    cv::arrowedLine(picture, from, to, kPurple, wide, cv::LINE_AA, 0, kHead);
    places.keep_clear_of_arrow(from, to, kHead, wide);
  }
}

void label_corrections(cv::Mat& picture, const PhotoView& view, const seams::FitDocument& fit,
                       const seams::FitTile& tile, double unit, LabelPlaces& places) {
  const geometry::Profile form(fit.form_profile);
  for (const seams::Correction& c : fit.corrections) {
    if (c.tile != tile.label) continue;
    if (c.action != seams::Correction::Action::move) {
      const std::vector<cv::Point2d> stretch = sanded_stretch(view, form, tile, c);
      std::string text;
      if (c.action != seams::Correction::Action::ease) text = fmt::format("sand {:.1f}", c.depth_mm);
      if (text.empty() || c.angle_deg > 0)
        text += fmt::format("{}ease {:.1f} deg", text.empty() ? "" : ", ", c.angle_deg);
      const cv::Point2d at = stretch[stretch.size() / 2];
      label(picture, text, {static_cast<int>(at.x), static_cast<int>(at.y)}, 0.4 * unit, kBlack, places);
    } else {
      const cv::Point2d at = view.place(middle_of(tile));
      std::string text = fmt::format("move {:.1f}", step_of(form, tile, c).norm());
      if (std::abs(c.turn_deg) > 0.05) text += fmt::format(", turn {:.1f} deg", c.turn_deg);
      label(picture, text, {static_cast<int>(at.x) - 12, static_cast<int>(at.y)}, 0.4 * unit, kBlack, places);
    }
  }
}

// Outlines and labels of all pieces that take part in the seams drawn, each once.
void draw_pieces(cv::Mat& picture, const PhotoView& view, const seams::FitDocument& fit,
                 const std::vector<std::size_t>& seams, double unit, LabelPlaces& places) {
  const int thin = std::max(1, static_cast<int>(std::lround(unit)));
  std::vector<const seams::FitTile*> part;
  for (const seams::FitTile& tile : fit.tiles) {
    const bool drawn = std::any_of(seams.begin(), seams.end(), [&](std::size_t i) {
      return fit.seams[i].tiles[0] == tile.label || fit.seams[i].tiles[1] == tile.label;
    });
    if (drawn && !tile.arris.empty()) part.push_back(&tile);
  }
  for (const seams::FitTile* tile : part) {
    std::vector<cv::Point2d> outline;
    for (const Vector3d& p : tile->arris) outline.push_back(view.place(p));
    draw_line(picture, outline, true, kWhite, thin);
    draw_corrections(picture, view, fit, *tile, unit, places);
  }
  for (const seams::FitTile* tile : part) {
    const cv::Point2d at = view.place(middle_of(*tile));
    label(picture, tile->label, {static_cast<int>(at.x) - 12, static_cast<int>(at.y)}, 0.42 * unit, kBlack,
          places);
    label_corrections(picture, view, fit, *tile, unit, places);
  }
}

void draw_seam(cv::Mat& picture, const PhotoView& view, const seams::FitDocument& fit,
               const seams::FitSeam& seam, double unit, LabelPlaces& places) {
  const cv::Scalar colour = seam.verdict == seams::Verdict::too_tight ? kVermillion
                            : seam.verdict == seams::Verdict::pinched ? kOchre
                                                                      : kBlue;
  const auto behind = seams::deciding_throat(seam);
  const auto width = [&](const seams::SeamSample& s) {
    return behind && s.throat ? s.throat->mm : s.width_mm;
  };
  const int thin = std::max(1, static_cast<int>(std::lround(unit)));
  std::vector<cv::Point2d> tight;
  const seams::SeamSample* narrowest = nullptr;
  for (const seams::SeamSample& s : seam.samples) {
    if (!narrowest || width(s) < width(*narrowest)) narrowest = &s;
    if (width(s) < fit.smallest_fill_mm) tight.push_back(view.place((s.a + s.b) / 2));
  }
  if (behind) {
    draw_dashes(picture, tight, colour, 2 * thin, 7 * unit);
  } else if (tight.size() > 1) {
    draw_line(picture, tight, false, colour, 2 * thin);
  }
  if (!narrowest) return;
  const cv::Point2d a = view.place(narrowest->a), b = view.place(narrowest->b);
  draw_line(picture, {a, b}, false, colour, 3 * thin);
  const cv::Point at(static_cast<int>((a.x + b.x) / 2), static_cast<int>((a.y + b.y) / 2));
  if (behind) {  // a square on its corner: what is narrow lies out of sight
    const double r = 11 * unit;
    const cv::Point2d c = at;
    draw_line(picture,
              {c + cv::Point2d(0, -r), c + cv::Point2d(r, 0), c + cv::Point2d(0, r), c + cv::Point2d(-r, 0)},
              true, colour, 2 * thin);
  } else {
    cv::circle(picture, at, static_cast<int>(9 * unit), colour, 2 * thin, cv::LINE_AA);
  }
  std::string text = "unseen";
  if (behind)
    text = fmt::format("{:.1f} +- {:.1f} mm wide behind", behind->mm, core::expanded_mm(behind->u_mm));
  else if (seam.narrowest_mm)
    text = fmt::format("{:.1f} +- {:.1f} mm", *seam.narrowest_mm, *seam.u95_mm);
  label(picture, text, {at.x + static_cast<int>(12 * unit), at.y - static_cast<int>(10 * unit)}, 0.5 * unit,
        colour, places);
}

}  // namespace

std::vector<MarkedPhoto> draw_on_photos(const scan::Scan& scan, const seams::FitDocument& fit,
                                        const std::map<std::string, std::vector<std::size_t>>& by_photo,
                                        int longest_px, int threads, const DrawOnPhoto& draw) {
  std::vector<MarkedPhoto> out;
  std::vector<const scan::ScannedPhoto*> photos;
  for (const scan::ScannedPhoto& photo : scan.photos) {
    const auto it = by_photo.find(photo.info.name);
    if (it == by_photo.end()) continue;
    out.push_back({photo.info.name, {}, it->second});
    photos.push_back(&photo);
  }
  core::parallel_for(out.size(), threads, [&](std::size_t n) {
    const PhotoView view = view_of(*photos[n], form_in_photo(*photos[n], fit), longest_px);
    cv::Mat picture = picture_of(view, scan.store->colour(photos[n]->info));
    const double unit = std::max(1.0, std::max(picture.cols, picture.rows) / 1100.0);
    LabelPlaces places(picture.size());
    draw(picture, view, out[n].seams, unit, places);
    std::vector<uchar> bytes;
    cv::imencode(".jpg", picture, bytes, {cv::IMWRITE_JPEG_QUALITY, 88});
    out[n].jpeg.assign(bytes.begin(), bytes.end());
  });
  return out;
}

std::vector<MarkedPhoto> mark_photos(const scan::Scan& scan, const seams::FitDocument& fit, int longest_px,
                                     int threads) {
  std::map<std::string, std::vector<std::size_t>> by_photo;
  for (const std::size_t i : seams_needing_work(fit)) {
    if (!fit.seams[i].best_photo.empty()) by_photo[fit.seams[i].best_photo].push_back(i);
  }
  return draw_on_photos(scan, fit, by_photo, longest_px, threads,
                        [&](cv::Mat& picture, const PhotoView& view, const std::vector<std::size_t>& drawn,
                            double unit, LabelPlaces& places) {
                          draw_pieces(picture, view, fit, drawn, unit, places);
                          for (const std::size_t i : drawn)
                            draw_seam(picture, view, fit, fit.seams[i], unit, places);
                        });
}

}  // namespace interstice::report
