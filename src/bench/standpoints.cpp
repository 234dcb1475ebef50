#include "bench/standpoints.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/errors.h"
#include "scan/card_poses.h"

namespace interstice::bench {
namespace {

camera::Lens lens_of(const PhotoCheck& check, const std::optional<camera::Lens>& given) {
  if (given) {
    try {
      return given->scaled_to(check.width, check.height);
    } catch (const core::InputError&) {  // of another shape: another camera's
    }
  }
  return camera::plain_lens(check.width, check.height, check.focal_px);
}

struct Sight {
  Eigen::Vector3d from, along;  // the camera's centre and optical axis, level bench
};

// The point least off all optical axes, drawn to the middle of the cards as by one more photo: from two or
// three views that look the same way it would run off.
Eigen::Vector3d looked_at(const std::vector<Sight>& sights) {
  Eigen::Matrix3d a = Eigen::Matrix3d::Identity();
  Eigen::Vector3d b = Eigen::Vector3d::Zero();  // the cards' middle is the origin
  for (const Sight& sight : sights) {
    const Eigen::Matrix3d off = Eigen::Matrix3d::Identity() - sight.along * sight.along.transpose();
    a += off;
    b += off * sight.from;
  }
  return a.ldlt().solve(b);
}

double degrees(double rad) {
  return rad * 180 / std::numbers::pi;
}

}  // namespace

Dial standpoints(const std::vector<PhotoCheck>& checks, const std::optional<camera::Lens>& lens) {
  std::vector<scan::PhotoCards> photos;
  for (std::size_t i = 0; i < checks.size(); ++i) {
    if (!checks[i].cards.empty())
      photos.push_back({i, lens_of(checks[i], lens), checks[i].cards, checks[i].has_focal});
  }
  Dial dial;
  scan::CardPoses poses;
  try {
    poses = scan::poses_from_cards(photos, 1.0);
  } catch (const core::MeasureError&) {
    return dial;  // not yet
  }
  const scan::Bundle& bundle = poses.bundle;
  const Eigen::Isometry3d level_T_bench = scan::level_T_bench(bundle);
  std::vector<Sight> sights;
  for (std::size_t i = 0; i < poses.photos.size(); ++i) {
    const Eigen::Isometry3d level_T_camera =
        level_T_bench * bundle.camera_T_bench[geometry::PhotoIndex(i)].inverse();
    sights.push_back({level_T_camera.translation(), level_T_camera.linear().col(2)});
  }
  const Eigen::Vector3d middle = looked_at(sights);
  const auto lowest = std::min_element(poses.cards.begin(), poses.cards.end());
  if (lowest == poses.cards.end()) return dial;
  const geometry::CardIndex twelve(static_cast<std::size_t>(lowest - poses.cards.begin()));
  const Eigen::Vector3d card = level_T_bench * bundle.bench_T_card[twelve].translation() - middle;
  dial.card_at_twelve = *lowest;
  for (std::size_t i = 0; i < sights.size(); ++i) {
    const Eigen::Vector3d d = sights[i].from - middle;
    const double clock = std::atan2(card.y(), card.x()) - std::atan2(d.y(), d.x());
    dial.standpoints.push_back({checks[poses.photos[i]].photo,
                                degrees(clock < 0 ? clock + 2 * std::numbers::pi : clock),
                                degrees(std::atan2(d.z(), d.head<2>().norm())), d.norm()});
  }
  return dial;
}

}  // namespace interstice::bench
