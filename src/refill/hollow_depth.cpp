#include "refill/hollow_depth.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <tuple>

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
constexpr double kAlike = 25;            // cells beside each other share their errors: so many count as one
constexpr double kLeastContrast = 0.3;   // of woodness, from walls to floor
constexpr double kWoodFrom = 0.55;
constexpr double kLeastSights = 40;
constexpr double kLean = 0.026;  // tangent of 1.5 degrees, by which a wall may lean otherwise than measured
constexpr double kLeastClosing = 0.02;  // mm of a line to a wall, a millimetre of line: less is along it
constexpr double kLeastSd_mm = 0.05;    // of where a wall is met: half a step of the floors
constexpr double kChiSquared95 = 3.84;  // one degree of freedom
constexpr double kFloorStep_mm = 0.1;   // of the floors tried
// Standard deviation of a floor's mean about where it meets the walls, of its width: resin that wets climbs by half the
// width at most (a round meniscus between near walls), its mean lies between none and a third of that lower.
constexpr double kMeniscus = 0.12;

// Hue as two logs of ratios.
Vector2d hue(const Vector3f& light) {
  const auto l = [&](Eigen::Index k) { return std::log(static_cast<double>(light[k] + kDark)); };
  return {l(2) - l(0), l(1) - l(0)};
}

struct Wall {
  std::size_t piece;
  double depth_mm, sd_mm;
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
    const std::array<geometry::TileIndex, 2> pieces{cell_.first, cell_.second};
    const std::array<double, 2> outline_sd{cell_.first_sd_mm, cell_.second_sd_mm};
    std::array<double, 2> before{clearance(pieces[0], cell_.at), clearance(pieces[1], cell_.at)};
    for (double t = kStep_mm; t * down < deepest_mm; t += kStep_mm) {
      const Vector3d p = cell_.at + t * into_;
      for (std::size_t n = 0; n < 2; ++n) {
        const double now = clearance(pieces[n], p);
        if (now < 0) return met(pieces[n], outline_sd[n], t, before[n], now, down);
        before[n] = now;
      }
      if (left(p)) return std::nullopt;
    }
    return std::nullopt;
  }

 private:
  // How far outside a piece's wall; above its face as far as one likes.
  double clearance(geometry::TileIndex piece, const Vector3d& p) const {
    const channels::PieceField& field = *band_.fields()[piece.value];
    const double depth = -field.face().height(p);
    if (depth <= -field.face_above_mm()) return kStep_mm;
    const auto r = field.read(field.face().drop(p));
    return r.outside_mm + std::max(0.0, depth) * r.slope;
  }

  Wall met(geometry::TileIndex piece, double outline_sd_mm, double t, double before, double now,
           double down) const {
    const double closing = std::max(kLeastClosing, (before - now) / kStep_mm);
    const double depth_mm = std::max(0.0, down * (t - std::min(kStep_mm, -now / closing)));
    const double across_mm = std::hypot(outline_sd_mm, kPose_mm, kLean * depth_mm);
    return {piece.value, depth_mm, across_mm * down / closing};
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
  out.sd_mm = wall.sd_mm;
  out.woodness = std::clamp((hue(seen) - from).dot(axis) / axis.squaredNorm(), -0.5, 1.5);
  out.weight =
      axis.squaredNorm() * light * light / (light * light + dark * dark) * static_cast<double>(view.cosine);
  return out;
}

// Weighted sums over sights, each wood with probability p.
struct Sums {
  double pp = 0, pq = 0, qq = 0, py = 0, qy = 0, yy = 0;
  void add(const Sight& s, double p) {
    const double q = 1 - p;
    pp += s.weight * p * p, pq += s.weight * p * q, qq += s.weight * q * q;
    py += s.weight * p * s.woodness, qy += s.weight * q * s.woodness;
    yy += s.weight * s.woodness * s.woodness;
  }
  // Least sum of squares about two levels within limits, by turns: it is convex.
  double squares() const {
    double wood = 1, resin = 0;
    for (int turn = 0; turn < 20; ++turn) {
      if (pp > 0) wood = std::clamp((py - pq * resin) / pp, kWoodFrom, 1.2);
      if (qq > 0) resin = std::clamp((qy - pq * wood) / qq, -0.5, kWoodFrom - kLeastContrast);
    }
    return yy + wood * wood * pp + resin * resin * qq + 2 * (wood * resin * pq - wood * py - resin * qy);
  }
};

// That a wall met about there lies above a floor.
double above(const Sight& s, double floor_mm) {
  return 0.5 * std::erfc((s.depth_mm - floor_mm) / (std::numbers::sqrt2 * std::max(kLeastSd_mm, s.sd_mm)));
}

// How well the walls met about there are known: by the best of them, their weights falling with their distance.
double sd_near(const std::vector<Sight>& sights, double floor_mm, double shape_sd_mm) {
  double weights = 0, precisions = 0;
  for (const Sight& s : sights) {
    const double sd = std::max(kLeastSd_mm, s.sd_mm), d = (s.depth_mm - floor_mm) / std::max(0.5, sd);
    const double w = s.weight * std::exp(-d * d / 2);
    weights += w, precisions += w / (sd * sd);
  }
  return std::hypot(shape_sd_mm, precisions > 0 ? std::sqrt(weights / precisions) : 1.0);
}

double floor_at(std::size_t k) {
  return static_cast<double>(k) * kFloorStep_mm;
}

// Cost of a floor at every step of depth; the last: none is seen.
std::vector<double> floor_costs(const std::vector<Sight>& sights) {
  std::vector<double> cost(static_cast<std::size_t>(sights.back().depth_mm / kFloorStep_mm) + 2);
  for (std::size_t k = 0; k < cost.size(); ++k) {
    Sums sums;
    for (const Sight& s : sights) sums.add(s, k + 1 == cost.size() ? 1.0 : above(s, floor_at(k)));
    cost[k] = sums.squares();
  }
  return cost;
}

}  // namespace

HollowDepth floor_from(std::vector<Sight> sights, double alike, double width_mm) {
  HollowDepth out;
  double weight = 0;
  for (const Sight& s : sights) weight += s.weight;
  if (static_cast<double>(sights.size()) < kLeastSights || weight <= 0) return out;
  std::sort(sights.begin(), sights.end(), [](const Sight& a, const Sight& b) {
    return std::tie(a.depth_mm, a.woodness, a.sd_mm, a.weight) <
           std::tie(b.depth_mm, b.woodness, b.sd_mm, b.weight);
  });
  const std::vector<double> cost = floor_costs(sights);
  const auto best = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
  const double unit =
      std::max(0.01, cost[best] / weight) * weight / static_cast<double>(sights.size()) * alike;
  std::size_t low = best, high = best;
  for (std::size_t k = 0; k < cost.size(); ++k) {
    if (cost[k] - cost[best] > kChiSquared95 * unit) continue;
    low = std::min(low, k);
    high = std::max(high, k);
  }
  // What is allowed by walls that are badly known, better known ones nearer the opening may bound better.
  double deepest_wood = 0, shallowest_resin = std::numeric_limits<double>::infinity();
  for (std::size_t k = 0; k + 1 < cost.size(); ++k) {
    if (low < k && k < high) continue;
    const double own = 2 * sd_near(sights, floor_at(k), kMeniscus * width_mm);
    if (k <= low) deepest_wood = std::max(deepest_wood, floor_at(k) - own);
    if (k >= high) shallowest_resin = std::min(shallowest_resin, floor_at(k) + own);
  }
  out.at_least_mm = deepest_wood;
  if (high + 1 < cost.size() && best > 0) {
    out.floor_mm = floor_at(best);
    out.floor_low_mm = deepest_wood;
    out.floor_high_mm = shallowest_resin;
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
  return floor_from(std::move(sights), std::max(1.0, kAlike / static_cast<double>(every)),
                    patch.opening_mm2 / patch.length_mm);
}

}  // namespace interstice::refill
