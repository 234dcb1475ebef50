#include "form/bare_scan.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "camera/cards.h"
#include "core/errors.h"
#include "form/rough_form.h"
#include "scan/tie_scan.h"

namespace interstice::form {

using Eigen::Isometry3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

// How far the form can reach from what the photos look at: no card lies under it. The aim is off by a little.
double reach_of(const scan::CardScan& cards) {
  double nearest = std::numeric_limits<double>::infinity();
  for (const Isometry3d& bench_T_card : cards.solution.poses.bundle.bench_T_card) {
    const Isometry3d card_T_level = (cards.level_T_bench * bench_T_card).inverse();
    const Vector3d aim = card_T_level * Vector3d(cards.aim_mm.x(), cards.aim_mm.y(), 0);
    const Vector2d beside(std::max(0.0, std::abs(aim.x()) - camera::kSheetWidthMm / 2),
                          std::max(0.0, std::abs(aim.y()) - camera::kSheetHeightMm / 2));
    nearest = std::min(nearest, beside.norm());
  }
  constexpr double kAim_mm = 20, kLeast_mm = 40, kMost_mm = 1000;
  return std::clamp(nearest + kAim_mm, kLeast_mm, kMost_mm);
}

std::vector<CardDirection> directions(const scan::CardScan& cards, const Isometry3d& bowl_T_level) {
  const scan::CardPoses& poses = cards.solution.poses;
  std::vector<CardDirection> out;
  for (std::size_t i = 0; i < poses.cards.size(); ++i) {
    const Vector3d middle =
        bowl_T_level * cards.level_T_bench * poses.bundle.bench_T_card[geometry::CardIndex(i)].translation();
    out.push_back({poses.cards[i], std::atan2(middle.y(), middle.x())});
  }
  std::sort(out.begin(), out.end(),
            [](const CardDirection& a, const CardDirection& b) { return a.card < b.card; });
  return out;
}

double unevenness(const scan::CardScan& cards) {
  double squares = 0, n = 0;
  for (const Isometry3d& bench_T_card : cards.solution.poses.bundle.bench_T_card) {
    for (int k = 0; k < camera::kCornersPerCard; ++k, n += 1)
      squares += std::pow((cards.level_T_bench * bench_T_card * camera::card_point(k)).z(), 2);
  }
  return n > 0 ? std::sqrt(squares / n) : 0;
}

// Points of bench and form. How large the form is nobody has said, and only so many features are matched: a
// bench's grain must not crowd out a form that is small or plain, so nearer spaces are looked at by themselves.
std::vector<Vector3d> points_all_over(const scan::CardScan& cards, const std::vector<scan::TiePhoto>& photos,
                                      double reach, int threads) {
  std::vector<Vector3d> all;
  for (const scan::SearchSpace& space :
       {scan::SearchSpace{0.6 * reach, 0.6 * reach}, scan::SearchSpace{0.85 * reach, 0.85 * reach},
        scan::SearchSpace{reach, 2 * reach}}) {
    const std::vector<Vector3d> points =
        scan::points_on_bench(cards, scan::features_within(cards, photos, space), threads);
    all.insert(all.end(), points.begin(), points.end());
  }
  return all;
}

Isometry3d axis_to_origin(const Vector2d& axis, double up) {
  Isometry3d t = Isometry3d::Identity();
  t.translation() = Vector3d(-axis.x(), -axis.y(), up);
  return t;
}

}  // namespace

scan::Scan moved_scan(scan::Scan scan, const Isometry3d& new_T_old) {
  const Isometry3d old_T_new = new_T_old.inverse();
  for (scan::ScannedPhoto& photo : scan.photos) photo.camera_T_bowl = photo.camera_T_bowl * old_T_new;
  for (Vector3d& p : scan.points) p = new_T_old * p;
  return scan;
}

BareScan scan_bare_form(const std::filesystem::path& folder, const scan::ScanOptions& options) {
  BareScan bare;
  scan::Scan& scan = bare.scan;
  scan::CardScan cards = scan::scan_cards(folder, options, scan);
  options.progress("finding the form");
  const double reach = reach_of(cards);
  // A form is hardly higher than twice its width.
  const std::vector<scan::TiePhoto> photos =
      scan::tie_features(cards, {reach, 2 * reach}, *scan.store, options.threads);
  scan.store->forget_grey();
  const RoughForm first =
      find_rough_form(points_all_over(cards, photos, reach, options.threads), cards.aim_mm, reach);
  Isometry3d bowl_T_level = axis_to_origin(first.axis_mm, kPaper_mm);
  scan::tie_photos(cards, photos, first.profile, 0.0, bowl_T_level, options, scan);
  const RoughForm second = find_rough_form(scan.points, {0, 0}, reach);
  bowl_T_level = axis_to_origin(second.axis_mm, 0) * bowl_T_level;
  bare.cards = directions(cards, bowl_T_level);
  bare.cards_uneven_mm = unevenness(cards);
  const double turn = bare.cards.empty() ? 0 : bare.cards.front().angle;
  const Isometry3d turned(Eigen::AngleAxisd(-turn, Vector3d::UnitZ()));
  scan = moved_scan(std::move(scan), turned * axis_to_origin(second.axis_mm, 0));
  for (CardDirection& c : bare.cards) c.angle = std::remainder(c.angle - turn, 2 * std::acos(-1.0));
  bare.rough = second.profile;
  return bare;
}

}  // namespace interstice::form
