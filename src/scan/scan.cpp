#include "scan/scan.h"

#include "core/errors.h"
#include "scan/few_photos.h"
#include "scan/form_pose.h"
#include "scan/kept_scan.h"
#include "scan/tie_scan.h"

namespace interstice::scan {

using Eigen::Isometry3d;
using Eigen::Vector3d;

namespace {

Seat seat_of(const CardScan& cards, const std::vector<TiePhoto>& photos, const plan::Plan& plan,
             int threads) {
  try {
    return find_seat(points_on_bench(cards, photos, threads), plan.profile, plan.tile_thickness_mm,
                     cards.aim_mm, threads);
  } catch (const core::MeasureError& e) {
    throw core::MeasureError(few_photos_or(photos.size(), e.what()));
  }
}

}  // namespace

Scan scan_photos(const std::filesystem::path& folder, const plan::Plan& plan, const ScanOptions& options) {
  return scan_photos_keeping(folder, plan, options, nullptr);
}

Scan scan_photos_keeping(const std::filesystem::path& folder, const plan::Plan& plan,
                         const ScanOptions& options, const core::KeptWork* kept) {
  Scan scan;
  CardScan cards = scan_cards(folder, options, scan, kept);
  options.progress("finding the form");
  const std::vector<TiePhoto> photos =
      tie_own_features(cards, search_space(plan), *scan.store, options.threads);
  scan.store->forget_grey();
  const Seat seat = seat_of(cards, photos, plan, options.threads);
  Isometry3d bowl_T_level = Isometry3d::Identity();
  bowl_T_level.translation() = -Vector3d(seat.axis_mm.x(), seat.axis_mm.y(), 0);
  tie_photos(cards, photos, plan.profile, plan.tile_thickness_mm, bowl_T_level, options, scan);
  return scan;
}

Scan turned(Scan scan, double angle) {
  const Eigen::AngleAxisd turn(angle, Vector3d::UnitZ());
  for (ScannedPhoto& photo : scan.photos) photo.camera_T_bowl = photo.camera_T_bowl * turn;
  for (Vector3d& p : scan.points) p = turn.inverse() * p;
  return scan;
}

}  // namespace interstice::scan
