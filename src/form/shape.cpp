#include "form/shape.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/errors.h"
#include "core/median.h"
#include "form/bare_scan.h"
#include "form/form_cells.h"
#include "form/height_model.h"
#include "form/roundness.h"
#include "form/uncertainty.h"
#include "surface/pictures.h"

namespace interstice::form {

using Eigen::Vector2d;

namespace {

constexpr double kFootprint_mm = 0.45;  // of the pictures compared: lines are half a millimetre wide
constexpr double kRimBand_mm = 4;       // patches nearer to the rim show the bench as well
constexpr double kPoint_mm = 2;         // between points of the profile
constexpr double kLeastSeen = 0.25;     // of the form's area: less is no measurement

// Points every kPoint_mm along a profile, each moved along its normal; the rim stays on the bench.
geometry::Profile corrected(const geometry::Profile& form, const HeightModel& model) {
  const int n = std::max(8, static_cast<int>(std::lround(form.length() / kPoint_mm)));
  std::vector<Vector2d> rz;
  for (int i = 0; i <= n; ++i) {
    const double rho = form.length() * i / n;
    const geometry::MeridianPoint at = form.at(rho);
    Vector2d p = at.rz + model.mean(rho) * at.normal;
    if (i == 0) p.x() = 0;
    rz.push_back(p);
  }
  // Down to the bench, no farther.
  while (rz.size() > 4 && rz[rz.size() - 2].y() <= 0.05) rz.pop_back();
  const Vector2d slope = rz.back() - rz[rz.size() - 2];
  if (slope.y() < -1e-9) rz.back() = rz[rz.size() - 2] + slope * (rz[rz.size() - 2].y() / -slope.y());
  rz.back().y() = 0;
  return geometry::Profile(std::move(rz));
}

// Where the form's axis is, from what is high on one side and low on the other.
Vector2d axis_shift(const HeightModel& model, const geometry::Profile& form) {
  double a = 1e-9;
  Vector2d b(0, 0);
  for (double rho = 0; rho < form.length() - kRimBand_mm; rho += 2) {
    const geometry::MeridianPoint at = form.at(rho);
    const double weight = at.rz.x();  // as many cells as the ring is long
    a += weight * at.normal.x() * at.normal.x();
    b += weight * at.normal.x() * model.harmonic(1, rho);
  }
  return b / a;
}

// Where the photos show a ring much less surely than most of the form, what stands out may be theirs.
void keep_sure_bumps(Shape& shape) {
  constexpr double kLessSure = 1.5;
  std::vector<double> rho(shape.u95_mm.size(), 0), seen;
  for (std::size_t i = 0; i < rho.size(); ++i) {
    if (i > 0) rho[i] = rho[i - 1] + (shape.profile.points()[i] - shape.profile.points()[i - 1]).norm();
    if (shape.seen[i]) seen.push_back(shape.u95_mm[i]);
  }
  const double most = kLessSure * core::median(seen);
  std::erase_if(shape.bumps, [&](const Bump& bump) {
    const auto after = std::lower_bound(rho.begin(), rho.end(), bump.uv.norm());
    const auto i = std::min<std::size_t>(static_cast<std::size_t>(after - rho.begin()), rho.size() - 1);
    return shape.u95_mm[i] > most;
  });
}

void refuse_unseen(const std::vector<FormCell>& cells, const geometry::Profile& form, double grid_mm) {
  const double whole = std::numbers::pi * std::pow((form.length() - kRimBand_mm) / grid_mm, 2);
  if (static_cast<double>(cells.size()) >= kLeastSeen * whole) return;
  throw core::MeasureError(
      "most of the form is too plain to compare photos of it: draw pencil lines all over it (a net of about "
      "20 mm), and photograph it sharply from all round and from above");
}

}  // namespace

PlacedShape measure_shape(scan::Scan scan, const geometry::Profile& rough, const ShapeOptions& options) {
  options.progress("measuring the form's surface");
  const auto pictures = surface::read_pictures(scan, kFootprint_mm, true, options.threads);
  return measure_shape(std::move(scan), pictures, rough, options);
}

PlacedShape measure_shape(scan::Scan scan,
                          const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                          const geometry::Profile& rough, const ShapeOptions& options) {
  Shape shape;
  shape.profile = rough;
  // The rough form is good to a millimetre or two; what is out of round or stands out keeps the range wide.
  const std::vector<SweepRange> rounds{{6, 0.5}, {4, 0.4}, {4, 0.25}};
  for (std::size_t k = 0; k < rounds.size(); ++k) {
    const geometry::Profile base = shape.profile;
    shape.heights = sweep_form(scan, pictures, base, rounds[k], options.grid_mm, options.threads);
    const double to_rho = base.length() - kRimBand_mm, share = cell_share(options.grid_mm);
    drop_noise(HeightModel(form_cells(shape.heights, to_rho), base, share), rounds[k].range_mm,
               shape.heights);
    const std::vector<FormCell> cells = form_cells(shape.heights, to_rho);
    refuse_unseen(cells, base, options.grid_mm);
    const HeightModel model(cells, base, share);
    shape.profile = corrected(base, model);
    if (k + 1 < rounds.size()) {
      Eigen::Isometry3d move = Eigen::Isometry3d::Identity();
      move.translation().head<2>() = -axis_shift(model, base);
      scan = moved_scan(std::move(scan), move);
      continue;
    }
    shape.scatter_mm = model.scatter();
    describe_roundness(model, base, kRimBand_mm, shape);
    options.progress("telling how sure the form is");
    shape.budget = form_budget({scan, pictures, shape.profile, model, options.scale_sd,
                                options.cards_uneven_mm, kRimBand_mm, options.threads});
    for (const PointBudget& of : shape.budget) shape.u95_mm.push_back(2 * of.u());
  }
  keep_sure_bumps(shape);
  return {std::move(scan), std::move(shape)};
}

}  // namespace interstice::form
