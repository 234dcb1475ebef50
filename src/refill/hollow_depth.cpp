#include "refill/hollow_depth.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "refill/plain_resin.h"

namespace interstice::refill {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Eigen::Vector3f;

namespace {

constexpr double kStep_mm = 0.25;        // along a line of sight
constexpr double kFirst_mm = 0.6;        // above, the corner is broken and the spot mixes
constexpr std::size_t kMostCells = 500;  // of a hollow: more see no more
constexpr float kDark = 0.004f;          // light below which hue is noise: about 12 of 255
constexpr double kAlike = 25;  // neighbouring lines of sight share their errors: so many count as one
constexpr double kLeastContrast = 0.3;  // of woodness, from walls to floor
constexpr double kWoodFrom = 0.55;
constexpr double kLeastSights = 40;
constexpr double kWallShare = 0.9;  // of a depth: a wall that recedes 1.5 degrees more is met so much deeper
constexpr double kOwn_mm = 0.5;     // standard uncertainty of where walls are met

// Hue as two logs of ratios.
Vector2d hue(const Vector3f& light) {
  const auto l = [&](Eigen::Index k) { return std::log(static_cast<double>(light[k] + kDark)); };
  return {l(2) - l(0), l(1) - l(0)};
}

struct Wall {
  std::size_t piece;
  double depth_mm;
};

// Follows a line of sight from a cell into the shell.
class Line {
 public:
  Line(const Band& band, const BandCell& cell, const Vector3d& into, const std::vector<std::size_t>& group_of,
       std::size_t group)
      : band_(band), cell_(cell), into_(into), group_of_(group_of), group_(group) {
    const geometry::Profile& form = band.shell().form;
    ring_ = form.along_ring(cell.map);
    pole_ = form.towards_pole(cell.map);
    const double rho = cell.map.norm();
    const double r = std::hypot(cell.at.x(), cell.at.y());
    stretch_ = rho > 1 ? rho / std::max(1.0, r) : 1;
  }

  std::optional<Wall> wall(double deepest_mm) const {
    const double down = -into_.dot(cell_.normal);
    for (double t = kStep_mm; t * down < deepest_mm; t += kStep_mm) {
      const Vector3d p = cell_.at + t * into_;
      for (const geometry::TileIndex piece : {cell_.first, cell_.second}) {
        if (inside(piece, p)) return Wall{piece.value, t * down};
      }
      if (left(p)) return std::nullopt;
    }
    return std::nullopt;
  }

 private:
  bool inside(geometry::TileIndex piece, const Vector3d& p) const {
    const channels::PieceField& field = *band_.fields()[piece.value];
    const double depth = -field.face().height(p);
    const auto r = field.read(field.face().drop(p));
    return r.outside_mm + std::max(0.0, depth) * r.slope < 0 && depth > -field.face_above_mm();
  }

  // Under the band, but not under this hollow: the resin at its end.
  bool left(const Vector3d& p) const {
    const Vector3d d = p - cell_.at;
    const double rho = cell_.map.norm();
    const Vector2d e = rho > 1e-9 ? Vector2d(cell_.map / rho) : Vector2d(1, 0);
    const Vector2d map = cell_.map - d.dot(pole_) * e + stretch_ * d.dot(ring_) * Vector2d(-e.y(), e.x());
    const Vector2d moved = (map - cell_.map) / Band::kStep_mm;
    const int column = cell_.column + static_cast<int>(std::lround(moved.x()));
    const int row = cell_.row + static_cast<int>(std::lround(moved.y()));
    if (row < 0 || column < 0 || row >= band_.grid().rows || column >= band_.grid().cols) return true;
    const int k = band_.grid().at<int>(row, column);
    return k >= 0 && group_of_[static_cast<std::size_t>(k)] != group_;
  }

  const Band& band_;
  const BandCell& cell_;
  Vector3d into_, ring_, pole_;
  double stretch_ = 1;
  const std::vector<std::size_t>& group_of_;
  std::size_t group_;
};

std::optional<Sight> sight_of(const Sights& s, const CellView& view, const Vector3f& resin,
                              const Wall& wall) {
  const Vector3f& codes = s.wood[wall.piece][view.photo.value];
  if (!codes.allFinite() || !resin.allFinite() || burnt(view.codes)) return std::nullopt;
  const Vector3f seen = lights(view.codes);
  // Both as dark as what is seen: in the dark all hues run together.
  const auto as_dark = [&](const Vector3f& l) { return Vector3f(seen.sum() / std::max(1e-6f, l.sum()) * l); };
  const Vector2d from = hue(as_dark(resin)), axis = hue(as_dark(lights(codes))) - from;
  if (axis.norm() < 0.15) return std::nullopt;  // wood and resin of one hue
  // A glossy floor has the walls' image: what is no lighter may be it.
  const double mirrored = static_cast<double>(wall_in_resin(lights(codes), view.cosine));
  const double light = static_cast<double>(seen.sum() / 3),
               dark = std::hypot(static_cast<double>(kDark), mirrored);
  Sight out;
  out.depth_mm = wall.depth_mm;
  out.woodness = std::clamp((hue(seen) - from).dot(axis) / axis.squaredNorm(), -0.5, 1.5);
  out.weight =
      axis.squaredNorm() * light * light / (light * light + dark * dark) * static_cast<double>(view.cosine);
  return out;
}

// Weighted sums from the front.
struct Sums {
  double w = 0, wu = 0, wuu = 0;
  void add(const Sight& s) {
    w += s.weight;
    wu += s.weight * s.woodness;
    wuu += s.weight * s.woodness * s.woodness;
  }
  // Least sum of squares about a level within limits.
  double squares(double low, double high) const {
    if (w <= 0) return 0;
    const double level = std::clamp(wu / w, low, high);
    return wuu - 2 * level * wu + level * level * w;
  }
};

}  // namespace

HollowDepth floor_from(std::vector<Sight> sights) {
  HollowDepth out;
  if (static_cast<double>(sights.size()) < kLeastSights) return out;
  std::sort(sights.begin(), sights.end(), [](const Sight& a, const Sight& b) {
    return a.depth_mm != b.depth_mm ? a.depth_mm < b.depth_mm : a.woodness < b.woodness;
  });
  Sums all;
  for (const Sight& s : sights) all.add(s);
  if (all.w <= 0) return out;
  // Cost of a floor after the first k sights; all of them: no floor seen.
  std::vector<double> cost(sights.size() + 1);
  Sums above;
  for (std::size_t k = 0; k <= sights.size(); ++k) {
    Sums below{all.w - above.w, all.wu - above.wu, all.wuu - above.wuu};
    cost[k] = above.squares(kWoodFrom, 1.2) + below.squares(-0.5, kWoodFrom - kLeastContrast);
    if (k < sights.size()) above.add(sights[k]);
  }
  const auto best = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
  const double mean_weight = all.w / static_cast<double>(sights.size());
  const double variance = std::max(0.01, cost[best] / all.w);
  const auto allowed = [&](std::size_t k) {
    return (cost[k] - cost[best]) / (variance * mean_weight * kAlike) <=
           3.84;  // chi-squared, one freedom, 95 %
  };
  std::size_t low = best, high = best;
  for (std::size_t k = 0; k < cost.size(); ++k) {
    if (!allowed(k)) continue;
    low = std::min(low, k);
    high = std::max(high, k);
  }
  const auto depth_at = [&](std::size_t k) {
    return k == 0 ? 0.0 : sights[std::min(k, sights.size()) - 1].depth_mm;
  };
  const double seen_low = std::max(0.0, kWallShare * depth_at(low) - 2 * kOwn_mm);
  out.at_least_mm = seen_low;
  if (high < sights.size() && best > 0) {
    out.floor_mm = depth_at(best);
    out.floor_low_mm = seen_low;
    out.floor_high_mm = depth_at(high) + 2 * kOwn_mm;
  }
  return out;
}

HollowDepth depth_of(const Sights& s, const Patch& patch, const std::vector<std::size_t>& group_of_cell) {
  std::vector<Sight> sights;
  const std::size_t every = 1 + patch.cells.size() / kMostCells;
  for (std::size_t n = 0; n < patch.cells.size(); n += every) {
    const std::size_t i = patch.cells[n].value;
    const BandCell& cell = s.band.cells()[patch.cells[n]];
    for (std::size_t v = s.views.first[i]; v < s.views.first[i + 1]; ++v) {
      const CellView& view = s.views.views[v];
      const Vector3d into = (cell.at - s.scan.photos[view.photo].centre()).normalized();
      const auto wall = Line(s.band, cell, into, group_of_cell, patch.group).wall(cell.void_depth_mm + 1);
      if (!wall || wall->depth_mm < kFirst_mm) continue;
      const auto sight = sight_of(s, view, s.look.light[v], *wall);
      if (sight) sights.push_back(*sight);
    }
  }
  return floor_from(std::move(sights));
}

}  // namespace interstice::refill
