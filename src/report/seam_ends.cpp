#include "report/seam_ends.h"

#include "core/verdict.h"

namespace interstice::report {
namespace {

std::string at_place(const seams::FitDocument& fit, const seams::FitSeam& seam,
                     const Eigen::Vector3d& place) {
  constexpr double kReach_mm = 1.5 * core::kWidestSeam_mm;
  double best2 = kReach_mm * kReach_mm;
  std::string name;
  bool lowest = true;
  for (const seams::FitTile& tile : fit.tiles) {
    if (tile.label == seam.tiles[0] || tile.label == seam.tiles[1]) {
      lowest = lowest && tile.ring == 1;
      continue;
    }
    for (const Eigen::Vector3d& p : tile.arris) {
      const double d2 = (p - place).squaredNorm();
      if (d2 < best2) best2 = d2, name = tile.label;
    }
  }
  return !name.empty() ? name : lowest ? "rim" : "open side";
}

}  // namespace

std::array<std::string, 2> seam_ends(const seams::FitDocument& fit, const seams::FitSeam& seam) {
  if (seam.samples.empty()) return {};
  const seams::SeamSample &first = seam.samples.front(), &last = seam.samples.back();
  return {at_place(fit, seam, (first.a + first.b) / 2), at_place(fit, seam, (last.a + last.b) / 2)};
}

}  // namespace interstice::report
