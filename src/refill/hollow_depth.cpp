#include "refill/hollow_depth.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>

#include "core/median.h"

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
constexpr double kWoodFrom = 0.55, kMostWood = 1.4;
constexpr double kLeastSights = 40;
// Of a depth, 95 %: a wall that recedes 1.5 degrees more or less is met a tenth deeper or higher, and between wall and
// floor hues run into each other over two fifths of the depth.
constexpr double kDepthShare = 0.4;
constexpr double kOwn_mm = 0.5;  // standard uncertainty of where walls are met
// Of the wall's woodness, what the floor of a narrow slot may have of it: light that comes to it from the walls has
// taken their hue.
constexpr double kFloorHue = 0.85;

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
  const double light = static_cast<double>(seen.sum() / 3), dark = static_cast<double>(kDark);
  Sight out;
  out.wall = wall.piece;
  out.depth_mm = wall.depth_mm;
  out.woodness = std::clamp((hue(seen) - from).dot(axis) / axis.squaredNorm(), -0.5, 1.5);
  out.weight =
      axis.squaredNorm() * light * light / (light * light + dark * dark) * static_cast<double>(view.cosine);
  return out;
}

// Weighted sums of some sights.
struct Sums {
  double n = 0, w = 0, wu = 0, wuu = 0;
  void add(const Sight& s) {
    n += 1;
    w += s.weight;
    wu += s.weight * s.woodness;
    wuu += s.weight * s.woodness * s.woodness;
  }
  Sums without(const Sums& s) const { return {n - s.n, w - s.w, wu - s.wu, wuu - s.wuu}; }
  // The mean within limits, and the sum of squares about it.
  double level(double low, double high) const { return w > 0 ? std::clamp(wu / w, low, high) : high; }
  double squares(double about) const { return std::max(0.0, wuu - 2 * about * wu + about * about * w); }
};

// Of one wall: wood above a floor, below it of so much less of the wall's hue.
double wall_cost(const Sums& all, const Sums& above) {
  // As far as it is hardly seen, it looks like the face's: 1.
  const double face = all.n > 0 ? kAlike * all.w / all.n : 0;
  const double wood = face > 0 ? std::clamp((above.wu + face) / (above.w + face), kWoodFrom, kMostWood) : 1;
  const Sums below = all.without(above);
  return above.squares(wood) + below.squares(below.level(-0.5, kFloorHue * wood));
}

// Cost of a floor after the first k of all sights, in order of depth; all of them: no floor seen.
std::vector<double> floor_costs(const std::vector<Sight>& sights) {
  std::map<std::size_t, std::pair<Sums, Sums>> walls;  // all, above
  for (const Sight& s : sights) walls[s.wall].first.add(s);
  double sum = 0;
  for (const auto& [piece, wall] : walls) sum += wall_cost(wall.first, wall.second);
  std::vector<double> cost{sum};
  for (const Sight& s : sights) {
    auto& [all, above] = walls[s.wall];
    sum -= wall_cost(all, above);
    above.add(s);
    sum += wall_cost(all, above);
    cost.push_back(sum);
  }
  return cost;
}

struct FloorPlaces {
  std::size_t low = 0, best = 0, high = 0;  // after so many sights; 95 %
};

FloorPlaces likely_places(const std::vector<double>& cost, double weight) {
  const auto n = static_cast<double>(cost.size() - 1);
  const auto best = static_cast<std::size_t>(std::min_element(cost.begin(), cost.end()) - cost.begin());
  const double variance = std::max(0.01, cost[best] / weight);
  FloorPlaces out{best, best, best};
  for (std::size_t k = 0; k < cost.size(); ++k) {
    // Chi-squared, one freedom, 95 %.
    if ((cost[k] - cost[best]) / (variance * weight / n * kAlike) > 3.84) continue;
    out.low = std::min(out.low, k);
    out.high = std::max(out.high, k);
  }
  return out;
}

// Of a depth at which wood ends.
double depth_u95_mm(double depth_mm) {
  return std::hypot(kDepthShare * depth_mm, 2 * kOwn_mm);
}

}  // namespace

HollowDepth floor_from(std::vector<Sight> sights) {
  HollowDepth out;
  if (static_cast<double>(sights.size()) < kLeastSights) return out;
  std::sort(sights.begin(), sights.end(), [](const Sight& a, const Sight& b) {
    return std::tie(a.depth_mm, a.woodness, a.wall) < std::tie(b.depth_mm, b.woodness, b.wall);
  });
  double weight = 0;
  for (const Sight& s : sights) weight += s.weight;
  if (weight <= 0) return out;
  const FloorPlaces at = likely_places(floor_costs(sights), weight);
  const auto depth_at = [&](std::size_t k) {
    return k == 0 ? 0.0 : sights[std::min(k, sights.size()) - 1].depth_mm;
  };
  if (at.high < sights.size() && at.best > 0) {
    // How well the change is placed, and how well the depth of a place is known, are independent.
    const double floor_mm = depth_at(at.best), own = depth_u95_mm(floor_mm);
    out.floor_mm = floor_mm;
    out.floor_low_mm = std::max(0.0, floor_mm - std::hypot(floor_mm - depth_at(at.low), own));
    out.floor_high_mm = floor_mm + std::hypot(depth_at(at.high) - floor_mm, own);
    out.at_least_mm = out.floor_low_mm;
  } else {
    out.at_least_mm = std::max(0.0, depth_at(at.low) - depth_u95_mm(depth_at(at.low)));
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
