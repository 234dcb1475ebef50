#include "refill/poured_check.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "core/median.h"
#include "core/parallel.h"
#include "refill/band_views.h"

namespace interstice::refill {

using Eigen::Vector3d;
using Eigen::Vector3f;

namespace {

constexpr double kLeastWidth_mm = 1.5;  // narrower, the spot reaches the wood
constexpr double kInWood_mm = 2.0;
constexpr double kPouredCosine = 0.5;
constexpr std::size_t kLeastViews = 3, kLeastPlaces = 50, kEvery = 4;
constexpr double kNoise = 10;  // code values: contrasts below are none
constexpr double kTold =
    2 *
    kNoise;  // of wood against seam: with less of it (black resin in black wood) views differ by noise alone

Vector3f median_of(const std::vector<Vector3f>& codes) {
  Vector3f out;
  for (Eigen::Index k = 0; k < 3; ++k) {
    std::vector<double> one;
    for (const Vector3f& c : codes) one.push_back(static_cast<double>(c[k]));
    out[k] = static_cast<float>(core::median(std::move(one)));
  }
  return out;
}

// Codes of three places in every photo that sees the middle one well: on either piece and in the seam.
struct Across {
  std::vector<Vector3f> seam, wood;
};

Across look_across(const scan::Scan& scan, const Pictures& pictures, const seams::SeamSample& s,
                   const Vector3d& normal, double sigma_px) {
  Across out;
  const Vector3d middle = (s.a + s.b) / 2, e = (s.b - s.a).normalized();
  for (std::size_t i = 0; i < scan.photos.size(); ++i) {
    const scan::ScannedPhoto& photo = scan.photos[geometry::PhotoIndex(i)];
    const Vector3d to = photo.centre() - middle;
    if (to.dot(normal) < kPouredCosine * to.norm()) continue;
    std::array<Vector3f, 3> codes;
    bool seen = true;
    std::size_t n = 0;
    for (const Vector3d& p : {Vector3d(s.a - kInWood_mm * e), middle, Vector3d(s.b + kInWood_mm * e)}) {
      const Eigen::Vector2d at = photo.project(p);
      seen = seen && photo.lens.in_frame(at, 4 * sigma_px);
      if (!seen) break;
      codes[n] = spot_codes(pictures[geometry::PhotoIndex(i)].colour, at, sigma_px);
      seen = codes[n].allFinite() && !burnt(codes[n]);
      ++n;
      if (!seen) break;
    }
    if (!seen) continue;
    out.seam.push_back(codes[1]);
    out.wood.push_back((codes[0] + codes[2]) / 2);
  }
  return out;
}

float light_of_all(const Vector3f& codes) {
  return lights(codes).sum();
}

// Of one place.
std::optional<SeamViews> views_at(const Across& a) {
  if (a.seam.size() < kLeastViews) return std::nullopt;
  const Vector3f seam = median_of(a.seam), wood = median_of(a.wood);
  const double contrast = static_cast<double>((wood - seam).norm());
  if (contrast < kTold) return std::nullopt;
  std::vector<double> off, light;
  for (const Vector3f& c : a.seam) off.push_back(static_cast<double>((c - seam).norm()));
  for (std::size_t k = 0; k < a.seam.size(); ++k)
    light.push_back(static_cast<double>(light_of_all(a.seam[k]) / std::max(1e-4f, light_of_all(a.wood[k]))));
  return SeamViews{core::median(std::move(off)) / (contrast + kNoise),
                   *std::min_element(light.begin(), light.end())};
}

}  // namespace

std::optional<SeamViews> seam_views(const scan::Scan& scan, const Pictures& pictures,
                                    const seams::FitDocument& fit, int threads) {
  if (fit.form_profile.size() < 3) return std::nullopt;
  const geometry::Profile form(fit.form_profile);
  const double sigma_px = spot_px(scan);
  std::vector<std::vector<SeamViews>> of(fit.seams.size());
  core::parallel_for(fit.seams.size(), threads, [&](std::size_t k) {
    const std::vector<seams::SeamSample>& samples = fit.seams[k].samples;
    for (std::size_t n = 0; n < samples.size(); n += kEvery) {
      if (samples[n].width_mm < kLeastWidth_mm || samples[n].sd_mm < 0) continue;
      const Vector3d normal = form.normal(form.locate((samples[n].a + samples[n].b) / 2).uv);
      const auto views = views_at(look_across(scan, pictures, samples[n], normal, sigma_px));
      if (views) of[k].push_back(*views);
    }
  });
  std::vector<double> disagreement, darkest;
  for (const auto& seam : of) {
    for (const SeamViews& v : seam) {
      disagreement.push_back(v.disagreement);
      darkest.push_back(v.darkest);
    }
  }
  if (disagreement.size() < kLeastPlaces) return std::nullopt;
  return SeamViews{core::median(std::move(disagreement)), core::median(std::move(darkest))};
}

}  // namespace interstice::refill
