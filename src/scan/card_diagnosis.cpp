#include "scan/card_diagnosis.h"

#include <fmt/core.h>

#include <Eigen/QR>
#include <cmath>
#include <complex>
#include <numeric>

#include "core/errors.h"
#include "core/median.h"
#include "scan/solved_places.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// How a card lies in one photo of a solution that did not use it, if it lies in the plane of the others.
// Lying h higher, its place is h times `shift` further on and its scale less by h / camera_above_mm.
struct Lying {
  std::size_t photo;
  Vector2d place_mm;
  double scale;
  Vector2d shift;
  double camera_above_mm;
};

// Least squares: seen = place + factor * printed in complex numbers; the factor's size is the scale.
Lying similarity(std::size_t photo, const std::vector<std::complex<double>>& printed,
                 const std::vector<std::complex<double>>& seen) {
  const double n = static_cast<double>(seen.size());
  const auto p0 = std::accumulate(printed.begin(), printed.end(), std::complex<double>()) / n;
  const auto q0 = std::accumulate(seen.begin(), seen.end(), std::complex<double>()) / n;
  std::complex<double> both = 0;
  double squares = 0;
  for (std::size_t i = 0; i < seen.size(); ++i) {
    both += std::conj(printed[i] - p0) * (seen[i] - q0);
    squares += std::norm(printed[i] - p0);
  }
  const std::complex<double> factor = both / squares, place = q0 - factor * p0;
  return {photo, {place.real(), place.imag()}, std::abs(factor), Vector2d::Zero(), 1};
}

// A card in every photo of a solution without it: where its corners' rays meet the bench.
std::vector<Lying> how_it_lies(int card, const CardSolution& without, const std::vector<PhotoCards>& photos,
                               double print_scale) {
  const Bundle& b = without.poses.bundle;
  const Places places(without.poses);
  const Isometry3d level = level_T_bench(b);
  std::vector<Lying> out;
  for (const PhotoCards& photo : photos) {
    const auto p = places.photo(photo.photo);
    for (const camera::CardView& view : photo.views) {
      if (!p || view.card != card || view.corner_id.size() < kFewCorners) continue;
      const Isometry3d level_T_camera = level * b.camera_T_bench[*p].inverse();
      const camera::Lens lens = lens_of_photo(b, *p);
      std::vector<std::complex<double>> seen, printed;
      for (std::size_t i = 0; i < view.corner_id.size(); ++i) {
        const Vector3d o = level_T_camera.translation();
        const Vector3d d = level_T_camera.linear() * lens.undistort(view.pixel[i]);
        const Vector3d q = o - o.z() / d.z() * d, at = print_scale * camera::card_point(view.corner_id[i]);
        seen.emplace_back(q.x(), q.y());
        printed.emplace_back(at.x(), at.y());
      }
      Lying lying = similarity(photo.photo, printed, seen);
      const Vector3d down =
          level_T_camera.translation() - Vector3d(lying.place_mm.x(), lying.place_mm.y(), 0);
      lying.shift = down.head<2>() / down.z();
      lying.camera_above_mm = down.z();
      if (std::isfinite(lying.scale)) out.push_back(lying);
    }
  }
  return out;
}

// A card of one height at two places, the later one from photo number `from` (of those given) on.
struct Places2 {
  std::size_t from = 0;
  double height_mm = 0, moved_mm = 0, squares = 0;
};

Places2 two_places(const std::vector<Lying>& lying, std::size_t from) {
  // Sheets lie flat on a bench within about this (common practice, no source); places are seen this well.
  constexpr double kHeightSd_mm = 0.5, kPlaceSd_mm = 0.1;
  const auto n = static_cast<Eigen::Index>(lying.size());
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(2 * n + 1, 5);  // early x y, late x y, height
  Eigen::VectorXd b = Eigen::VectorXd::Zero(2 * n + 1);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Lying& l = lying[static_cast<std::size_t>(i)];
    const Eigen::Index group = static_cast<std::size_t>(i) < from ? 0 : 2;
    a.block<2, 2>(2 * i, group).setIdentity();
    a.block<2, 1>(2 * i, 4) = -l.shift;
    b.segment<2>(2 * i) = l.place_mm;
  }
  a(2 * n, 4) = kPlaceSd_mm / kHeightSd_mm;
  const Eigen::VectorXd x = a.colPivHouseholderQr().solve(b);
  return {from, x[4], (x.segment<2>(2) - x.head<2>()).norm(), (a * x - b).squaredNorm()};
}

}  // namespace

std::string what_is_odd(int card, const CardSolution& without, const std::vector<PhotoCards>& photos,
                        double print_scale, const std::function<std::string(std::size_t)>& name) {
  const std::vector<Lying> lying = how_it_lies(card, without, photos, print_scale);
  if (lying.size() < 2) return "does not agree with the other cards; it is not used";
  Places2 best = two_places(lying, 1);
  for (std::size_t from = 2; from < lying.size(); ++from) {
    const Places2 p = two_places(lying, from);
    if (p.squares < best.squares) best = p;
  }
  std::vector<double> scales;
  for (const Lying& l : lying) scales.push_back(l.scale * (1 - best.height_mm / l.camera_above_mm));
  const double bigger = core::median(scales) - 1;
  const double half_length = camera::kSheetWidthMm / 2;
  if (best.moved_mm < half_length * std::abs(bigger)) {
    return fmt::format(
        "is printed {:.1f} % {} than the other cards; it is not used, nor should its check line be",
        100 * std::abs(bigger), bigger > 0 ? "larger" : "smaller");
  }
  return fmt::format("lies elsewhere from {} on (moved by about {:.{}f} mm); it is not used",
                     core::one_line(name(lying[best.from].photo), 60), best.moved_mm,
                     best.moved_mm < 10 ? 1 : 0);
}

}  // namespace interstice::scan
