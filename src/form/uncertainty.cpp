#include "form/uncertainty.h"

#include <cmath>
#include <optional>

#include "form/bare_scan.h"
#include "form/form_cells.h"

namespace interstice::form {

using Eigen::Vector2d;

namespace {

constexpr double kGrid_mm = 2, kStep_mm = 0.4, kRange_mm = 3;
constexpr double kWindow_mm = 20;  // of the meridian over which the halves' difference is pooled
// What all photos share does not show between halves: cards' corners and lines of the form are placed by different
// means, each alike in all photos to about a tenth of a pixel.
constexpr double kShared_px = 0.1;

// A patch compared is flat: on a bend it lies inside or outside it by a third of its sagitta on the mean.
double bend_error_mm(const geometry::Profile& form, double rho) {
  const double half = kPatchSide_mm / 2, from = std::max(0.0, rho - half),
               to = std::min(form.length(), rho + half);
  if (!(to > from)) return 0;
  const Vector2d a = form.at(from).tangent, b = form.at(to).tangent;
  const double bend = std::abs(std::atan2(a.x() * b.y() - a.y() * b.x(), a.dot(b))) / (to - from);
  return half * half / 2 * bend / 3;
}

// The meridian's correction as every second photo has it; nothing where they show too little.
std::optional<HeightModel> half(const UncertaintyInput& in, std::size_t which) {
  scan::Scan scan;
  geometry::IndexedVector<geometry::PhotoIndex, surface::Picture> pictures;
  for (std::size_t i = which; i < in.scan.photos.size(); i += 2) {
    scan.photos.push_back(in.scan.photos[geometry::PhotoIndex(i)]);
    pictures.push_back(in.pictures[geometry::PhotoIndex(i)]);
  }
  scan.quality = in.scan.quality;
  if (scan.photos.size() < 3) return std::nullopt;
  const surface::HeightField field =
      sweep_form(scan, pictures, in.profile, {kRange_mm, kStep_mm}, kGrid_mm, in.threads);
  const std::vector<FormCell> cells = form_cells(field, in.profile.length() - in.rim_band_mm);
  constexpr std::size_t kFew = 200;
  if (cells.size() < kFew) return std::nullopt;
  return HeightModel(cells, in.profile, cell_share(kGrid_mm));
}

}  // namespace

std::vector<PointBudget> form_budget(const UncertaintyInput& in) {
  const std::vector<Vector2d>& rz = in.profile.points();
  std::vector<double> rho(rz.size(), 0), apart;
  for (std::size_t i = 1; i < rz.size(); ++i) rho[i] = rho[i - 1] + (rz[i] - rz[i - 1]).norm();
  const std::optional<HeightModel> a = half(in, 0), b = half(in, 1);
  // Without halves to compare: a third of a pixel of the photos, as poses are refused beyond.
  const double without = in.scan.quality.pixel_footprint_mm / 3;
  for (const double s : rho) apart.push_back(a && b ? a->mean(s) - b->mean(s) : 2 * without);
  std::vector<PointBudget> budget(rz.size());
  for (std::size_t i = 0; i < rz.size(); ++i) {
    double squares = 0, n = 0;
    for (std::size_t k = 0; k < rz.size(); ++k) {
      if (std::abs(rho[k] - rho[i]) > kWindow_mm || rho[k] > in.profile.length() - in.rim_band_mm) continue;
      squares += apart[k] * apart[k], n += 1;
    }
    const geometry::MeridianPoint at = in.profile.at(rho[i]);
    PointBudget& of = budget[i];
    of.poses = n > 0 ? std::sqrt(squares / n) / 2 : without;
    of.scale = in.scale_sd * std::abs(at.rz.dot(at.normal));
    of.bench = std::hypot(kPaperSd_mm, in.cards_uneven_mm) * std::abs(at.normal.y());
    of.scatter = in.model.mean_sd(std::min(rho[i], in.profile.length()));
    of.shared = kShared_px * in.scan.quality.pixel_footprint_mm;
    of.bend = bend_error_mm(in.profile, rho[i]);
  }
  return budget;
}

}  // namespace interstice::form
