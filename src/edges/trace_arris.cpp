#include "edges/trace_arris.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "edges/arris_fit.h"
#include "edges/arris_uncertainty.h"
#include "edges/arris_unknowns.h"
#include "edges/photo_errors.h"

namespace interstice::edges {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::VectorXd;

namespace {

geometry::Polygon resampled_to(const geometry::Polygon& polygon, std::size_t count) {
  return geometry::resampled(polygon, geometry::perimeter(polygon) / static_cast<double>(count) * (1 + 1e-9));
}

double contour_residual(const std::vector<ArrisObservation>& observations, double if_none) {
  std::vector<double> residuals;
  for (const ArrisObservation& o : observations) {
    if (o.slope < 0) residuals.push_back(std::abs(o.residual_mm));
  }
  return residuals.empty() ? if_none : core::robust_sd(std::move(residuals));
}

// The corner at every point, as high as the face there lies over the arris.
void break_corners(const ArrisPrior& known, ArrisLine& line) {
  for (std::size_t i = 0; i < line.outline.size(); ++i) {
    const Vector3d at = line.plane_at(i).lift(line.outline[i]);
    line.corners[i] = of_height(known.corner, std::max(0.0, -known.face.height(at)));
  }
}

// Readings in photos that are noisier than others, or whose place is known less well than is usual (a photo's error of
// place is one for all its readings, and what all photos have of it is no reason to prefer one).
void doubt_photos(const scan::Scan& scan, const geometry::PlaneFrame& plane, const PhotoNoise& noise,
                  std::vector<ArrisObservation>& observations) {
  std::vector<double> variance;
  for (const scan::ScannedPhoto& photo : scan.photos)
    variance.push_back(std::pow(place_sd_mm(photo, plane), 2));
  const double usual = core::median(variance);
  for (ArrisObservation& o : observations) {
    const double own = noise.empty() ? o.sd_mm : noise[o.photo] * o.sd_mm;
    o.sd_mm = std::sqrt(own * own + std::max(0.0, variance[o.photo.value] - usual));
  }
}

// Plane, outline and heights moved by what the fit found.
void move_line(const ArrisUnknowns& u, const VectorXd& x, ArrisLine& line) {
  const Eigen::Index m = u.plane();
  for (std::size_t i = 0; i < line.outline.size(); ++i) {
    line.outline[i] += x[static_cast<Eigen::Index>(i)] * line.normals[i];
    line.z_mm[i] += u.higher(i, x);
  }
  // The plane moves; the outline keeps its coordinates in it.
  const geometry::PlaneFrame& f = line.frame;
  line.frame = geometry::make_plane_frame(f.origin + x[m] * f.normal,
                                          f.normal - x[m + 1] * f.ex - x[m + 2] * f.ey, f.ex);
}

}  // namespace

TracedArris trace_arris(const scan::Scan& scan,
                        const geometry::IndexedVector<geometry::PhotoIndex, surface::Picture>& pictures,
                        const ArrisStart& start, const ArrisPrior& known,
                        const std::vector<double>& windows_mm, const Surroundings& around) {
  TracedArris t;
  ArrisLine line(start.frame, start.outline, known.corner);
  if (!start.z_mm.empty()) line.z_mm = start.z_mm;
  line.contrast_noise = known.contrast_noise;
  const std::size_t n = line.outline.size();
  for (std::size_t round = 0; round < windows_mm.size(); ++round) {
    line.normals = geometry::outward_normals(line.outline);
    break_corners(known, line);
    t.observations = observe_edges(scan, pictures, line, windows_mm[round], around);
    doubt_photos(scan, line.frame, known.photo_noise, t.observations);
    const ArrisUnknowns u(line);
    const ArrisSolution s = fit_readings(u, line, known, t.observations);
    t.noise_scale = s.noise_scale;
    t.uneven_mm2 = s.uneven_mm2;
    t.residual_mm = contour_residual(t.observations, s.factor);
    const bool last = round + 1 == windows_mm.size();
    if (last) {
      const ArrisFit fit{scan, u, t.observations, s.inverse, s.factor};
      t.photos = photos_about(t.observations, n);
      t.errors = point_errors(fit, line.frame, t.photos, t.noise_scale);
      t.shared_error_mm = shared_half_widths(t.observations, n);
    }
    const auto sd_of = [&](Eigen::Index k) {
      return std::sqrt(std::max(0.0, t.noise_scale * s.inverse(k, k)));
    };
    t.wider_mm = s.x[u.wider()] * known.corner.height_mm;
    t.wider_sd_mm = sd_of(u.wider()) * known.corner.height_mm;
    t.plane_sd_mm = sd_of(u.plane());
    move_line(u, s.x, line);
    if (!last) line.outline = resampled_to(line.outline, n);
  }
  t.frame = line.frame;
  t.outline = std::move(line.outline);
  t.z_mm = std::move(line.z_mm);
  return t;
}

}  // namespace interstice::edges
