#include "edges/photo_agreement.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <string>
#include <tuple>

#include "camera/field_prior.h"
#include "edges/photo_errors.h"
#include "edges/shift_fit.h"

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;
using geometry::PhotoIndex;

namespace {

// Shifts that are less across edges are within what readings are trusted to.
constexpr double kLittle_px = 0.1;
constexpr std::size_t kEvery = 2;  // points: neighbours say nearly the same

struct Lenses {
  std::vector<std::size_t> of;  // by photo
  std::vector<camera::ShiftField> fields;
};

Lenses lenses_of(const scan::Scan& scan) {
  Lenses out;
  std::map<std::tuple<std::string, int, int, int>, std::size_t> known;
  for (const scan::ScannedPhoto& photo : scan.photos) {
    const camera::Lens& lens = photo.lens;
    // As fine as the field that it has, to be added to it.
    const int cells = lens.residual ? lens.residual->cells() : camera::kLensCells;
    const auto [at, is_new] =
        known.try_emplace({lens.camera, lens.width, lens.height, cells}, out.fields.size());
    if (is_new) out.fields.emplace_back(lens.width, lens.height, cells);
    out.of.push_back(at->second);
  }
  return out;
}

// The readings of a piece, point by point.
std::vector<std::vector<ShiftReading>> readings_of(const scan::Scan& scan, const Lenses& lenses,
                                                   const TracedArris& traced) {
  std::vector<std::vector<ShiftReading>> out(traced.outline.size());
  const std::vector<Vector2d> normals = geometry::outward_normals(traced.outline);
  const double scale = std::max(1.0, traced.noise_scale);
  for (const ArrisObservation& o : traced.observations) {
    if (o.point % kEvery != 0) continue;
    const Vector3d at = arris_point(traced, o.point);
    const Vector3d across = traced.frame.ex * normals[o.point].x() + traced.frame.ey * normals[o.point].y();
    const scan::ScannedPhoto& photo = scan.photos[o.photo];
    ShiftReading r;
    r.photo = o.photo;
    r.lens = lenses.of[o.photo.value];
    r.pixel = photo.project(at);
    const Vector2d per_mm = photo.project(at + across) - r.pixel;
    if (!(per_mm.squaredNorm() > 0) || !photo.lens.in_frame(r.pixel)) continue;
    r.per_px = per_mm / per_mm.squaredNorm();
    r.slope = o.slope;
    r.residual_mm = o.residual_mm;
    r.weight = o.weight / (o.sd_mm * o.sd_mm * scale);
    out[o.point].push_back(r);
  }
  return out;
}

// Means over readings, across the edge.
struct Sizes {
  double found_px2 = 0;                    // of what both halves find
  double found_mm2 = 0, learning_mm2 = 0;  // variance of what both find together, and how far their mean errs
};

Sizes sizes_of(const ShiftFit& fit, const ShiftFit::Freedom& freedom,
               const std::vector<ShiftReading>& readings) {
  const VectorXd first = fit.solve(freedom, ShiftFit::From::first),
                 second = fit.solve(freedom, ShiftFit::From::second);
  Sizes out;
  for (const ShiftReading& r : readings) {
    const double one = fit.across_mm(first, r), other = fit.across_mm(second, r);
    out.found_px2 += one * other / r.per_px.squaredNorm();
    out.found_mm2 += one * other;
    out.learning_mm2 += (one - other) * (one - other) / 4;
  }
  const auto n = static_cast<double>(std::max<std::size_t>(1, readings.size()));
  out.found_px2 /= n, out.found_mm2 /= n, out.learning_mm2 /= n;
  return out;
}

// Mean variance of how far off a photo shows a piece, by the photos' covariances, mm2.
double known_mm2(const scan::Scan& scan, const std::vector<const TracedArris*>& traced) {
  double sum = 0;
  for (const TracedArris* piece : traced) {
    for (const scan::ScannedPhoto& photo : scan.photos) sum += std::pow(place_sd_mm(photo, piece->frame), 2);
  }
  const auto n = static_cast<double>(std::max<std::size_t>(1, traced.size() * scan.photos.size()));
  return sum / n;
}

}  // namespace

std::optional<scan::Scan> with_photos_agreeing(const scan::Scan& scan,
                                               const std::vector<const TracedArris*>& traced) {
  const Lenses lenses = lenses_of(scan);
  ShiftFit fit(scan.photos.size(), lenses.fields);
  std::vector<ShiftReading> all;
  for (std::size_t t = 0; t < traced.size(); ++t) {
    for (const auto& readings : readings_of(scan, lenses, *traced[t])) {
      fit.add_point(readings, t % 2);
      all.insert(all.end(), readings.begin(), readings.end());
    }
  }
  const ShiftFit::Freedom freedom = fit.best_freedom();
  if (!(freedom.affine_px > 0 || freedom.field_px > 0)) return std::nullopt;
  const Sizes sizes = sizes_of(fit, freedom, all);
  if (!(sizes.found_px2 > kLittle_px * kLittle_px)) return std::nullopt;
  const double known = known_mm2(scan, traced);
  const double before = std::max(known, sizes.found_mm2);
  const double after = before * sizes.learning_mm2 / (before + sizes.learning_mm2);
  const VectorXd shifts = fit.solve(freedom, ShiftFit::From::both);
  scan::Scan out = scan;
  for (const PhotoIndex p : scan.photos.indices()) {
    camera::ShiftField field = fit.field_of(shifts, p, lenses.of[p.value]);
    camera::Lens& lens = out.photos[p].lens;
    if (lens.residual) field.shifts() += lens.residual->shifts();
    lens.residual = std::make_shared<const camera::ShiftField>(std::move(field));
    if (known > 0) out.photos[p].covariance *= after / known;
  }
  return out;
}

}  // namespace interstice::edges
