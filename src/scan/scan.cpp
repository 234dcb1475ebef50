#include "scan/scan.h"

#include "core/errors.h"
#include "scan/few_photos.h"
#include "scan/form_pose.h"
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
  Scan scan;
  CardScan cards = scan_cards(folder, options, scan);
  options.progress("finding the form");
  const double reach = plan.profile.points().back().x() + plan.tile_thickness_mm;
  const double height = plan.profile.points().front().y() + plan.tile_thickness_mm;
  const std::vector<TiePhoto> photos =
      tie_features(cards, {1.35 * reach, 1.1 * height}, *scan.store, options.threads);
  scan.store->forget_grey();
  const Seat seat = seat_of(cards, photos, plan, options.threads);
  Isometry3d bowl_T_level = Isometry3d::Identity();
  bowl_T_level.translation() = -Vector3d(seat.axis_mm.x(), seat.axis_mm.y(), 0);
  tie_photos(cards, photos, plan.profile, plan.tile_thickness_mm, bowl_T_level, options, scan);
  return scan;
}

void turn_scan(Scan& scan, double angle) {
  const Eigen::AngleAxisd turn(angle, Vector3d::UnitZ());
  for (ScannedPhoto& photo : scan.photos) photo.camera_T_bowl = photo.camera_T_bowl * turn;
  for (Vector3d& p : scan.points) p = turn.inverse() * p;
}

}  // namespace interstice::scan
