#include "layout/layout_seeds.h"
#include "geometry/form_surface.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <set>

namespace interstice::layout {
namespace {

using Eigen::Vector2d;
using Eigen::Vector3d;

constexpr double kTurn = 2 * std::numbers::pi;

// The same sequence everywhere: the standard's distributions differ between libraries, this one does not.
class Random {
 public:
  explicit Random(std::uint32_t seed) : state_(0x9E3779B97F4A7C15ull * (seed + 1ull)) {}
  double symmetric() {  // in [-1, 1), SplitMix64 (Steele, Lea, Flood 2014)
    std::uint64_t z = (state_ += 0x9E3779B97F4A7C15ull);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ull;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBull;
    z ^= z >> 31;
    return static_cast<double>(z >> 11) * 0x1.0p-52 - 1.0;
  }

 private:
  std::uint64_t state_;
};

// The form as a grid of rings and meridians, the pole first, the last ring on the rim.
struct Grid {
  std::size_t rings = 0, around = 0;
  std::vector<Vector2d> uv;
  std::vector<Vector3d> at;
  std::vector<double> weight;  // area of the form that a node stands for

  std::size_t node(std::size_t ring, std::size_t k) const {
    return ring == 0 ? 0 : 1 + (ring - 1) * around + k % around;
  }
};

Grid make_grid(const geometry::Profile& form, double step) {
  Grid grid;
  double r_max = 0;
  for (const Vector2d& rz : form.points()) r_max = std::max(r_max, rz.x());
  grid.rings = std::max<std::size_t>(8, static_cast<std::size_t>(std::ceil(form.length() / step)));
  grid.around = std::max<std::size_t>(24, static_cast<std::size_t>(std::ceil(kTurn * r_max / step)));
  const double height = form.length() / static_cast<double>(grid.rings);
  grid.uv.push_back({0, 0});
  grid.weight.push_back(std::numbers::pi * height * height / 4);
  for (std::size_t i = 1; i <= grid.rings; ++i) {
    const double rho = height * static_cast<double>(i);
    const double share = i == grid.rings ? 0.5 : 1.0;
    for (std::size_t k = 0; k < grid.around; ++k) {
      const double theta = kTurn * static_cast<double>(k) / static_cast<double>(grid.around);
      grid.uv.push_back(rho * Vector2d(std::cos(theta), std::sin(theta)));
      grid.weight.push_back(share * height * kTurn * form.at(rho).rz.x() / static_cast<double>(grid.around));
    }
  }
  for (const Vector2d& p : grid.uv) grid.at.push_back(form.point(p));
  return grid;
}

std::vector<std::size_t> nearest_seeds(const Grid& grid, const std::vector<Vector3d>& seeds) {
  std::vector<std::size_t> owner(grid.at.size());
  for (std::size_t i = 0; i < grid.at.size(); ++i) {
    double best = std::numeric_limits<double>::infinity();
    for (std::size_t s = 0; s < seeds.size(); ++s) {
      const double d = (grid.at[i] - seeds[s]).squaredNorm();
      if (d < best) best = d, owner[i] = s;
    }
  }
  return owner;
}

std::vector<Vector3d> on_form(const geometry::Profile& form, const std::vector<Vector2d>& seeds) {
  std::vector<Vector3d> at;
  for (const Vector2d& s : seeds) at.push_back(form.point(s));
  return at;
}

void relax(const geometry::Profile& form, const Grid& grid, std::vector<Vector2d>& seeds, double strength) {
  const std::vector<Vector3d> at = on_form(form, seeds);
  const std::vector<std::size_t> owner = nearest_seeds(grid, at);
  std::vector<Vector3d> sum(seeds.size(), Vector3d::Zero());
  std::vector<double> weight(seeds.size(), 0);
  for (std::size_t i = 0; i < owner.size(); ++i) {
    sum[owner[i]] += grid.weight[i] * grid.at[i];
    weight[owner[i]] += grid.weight[i];
  }
  for (std::size_t s = 0; s < seeds.size(); ++s) {
    if (weight[s] <= 0) continue;
    seeds[s] = form.locate(at[s] + strength * (sum[s] / weight[s] - at[s])).uv;
  }
}

// Area of the form between two arcs.
double band_area(const geometry::Profile& form, double from, double to) {
  const int n = 64;
  double sum = 0;
  for (int i = 0; i < n; ++i) sum += form.at(from + (to - from) * (i + 0.5) / n).rz.x();
  return kTurn * sum * (to - from) / n;
}

struct TriangleCorner {
  std::set<int> cells;
  Vector3d sum = Vector3d::Zero();
  int count = 0;
};

constexpr int kRim = -1;

std::map<std::set<int>, std::vector<TriangleCorner>> raw_corners(const Grid& grid,
                                                                 const std::vector<std::size_t>& owner,
                                                                 double merge_mm) {
  std::map<std::set<int>, std::vector<TriangleCorner>> found;
  const auto add = [&](const std::set<int>& cells, const Vector3d& p) {
    for (TriangleCorner& c : found[cells]) {
      if ((c.sum / c.count - p).norm() < merge_mm) {
        c.sum += p, ++c.count;
        return;
      }
    }
    found[cells].push_back({cells, p, 1});
  };
  const auto look = [&](std::size_t a, std::size_t b, std::size_t c) {
    const std::set<int> cells{static_cast<int>(owner[a]), static_cast<int>(owner[b]),
                              static_cast<int>(owner[c])};
    if (cells.size() == 3) add(cells, (grid.at[a] + grid.at[b] + grid.at[c]) / 3);
  };
  for (std::size_t k = 0; k < grid.around; ++k) {
    look(0, grid.node(1, k), grid.node(1, k + 1));
    for (std::size_t i = 1; i < grid.rings; ++i) {
      look(grid.node(i, k), grid.node(i + 1, k), grid.node(i + 1, k + 1));
      look(grid.node(i, k), grid.node(i + 1, k + 1), grid.node(i, k + 1));
    }
    const std::size_t a = grid.node(grid.rings, k), b = grid.node(grid.rings, k + 1);
    if (owner[a] != owner[b]) {
      add({kRim, static_cast<int>(owner[a]), static_cast<int>(owner[b])}, (grid.at[a] + grid.at[b]) / 2);
    }
  }
  return found;
}

// Two corners follow each other round a cell when they share just one more cell (or the rim).
bool neighbours(const std::set<int>& a, const std::set<int>& b, int cell) {
  int shared = 0;
  for (const int c : a) shared += c != cell && b.contains(c);
  return shared == 1;
}

}  // namespace

std::optional<std::vector<Vector2d>> ring_seeds(const geometry::Profile& form, const LayoutOptions& o,
                                                std::uint32_t random_seed, bool other_rings) {
  const double cell_area = o.piece_size_mm * o.piece_size_mm, length = form.length();
  // The pole's piece first: the cap whose area is one cell.
  double cap = 0;
  while (cap < length && band_area(form, 0, cap) < cell_area) cap += 0.1;
  const double rings_wanted = (length - cap) / (0.93 * o.piece_size_mm);
  int rings = static_cast<int>(std::lround(rings_wanted));
  if (other_rings) rings += rings_wanted > rings ? 1 : -1;
  if (rings < 1) return std::nullopt;
  Random random(random_seed);
  const double wild = 0.1 + 0.5 * o.irregularity;
  std::vector<Vector2d> seeds{
      {0.25 * wild * cap * random.symmetric(), 0.25 * wild * cap * random.symmetric()}};
  double start = kTurn * random.symmetric();
  for (int ring = 0; ring < rings; ++ring) {
    const double from = cap + (length - cap) * ring / rings, to = cap + (length - cap) * (ring + 1) / rings;
    const int count = std::max(3, static_cast<int>(std::lround(band_area(form, from, to) / cell_area)));
    start += kTurn / count * (0.5 + 0.3 * random.symmetric());
    for (int k = 0; k < count; ++k) {
      const double theta = start + kTurn * (k + 0.45 * wild * random.symmetric()) / count;
      const double rho = (from + to) / 2 + 0.4 * wild * (to - from) * random.symmetric();
      seeds.push_back(rho * Vector2d(std::cos(theta), std::sin(theta)));
    }
  }
  const Grid grid = make_grid(form, std::max(1.0, o.piece_size_mm / 14));
  const double strength = 0.9 - 0.5 * o.irregularity;
  for (int k = 0; k < o.relax_rounds; ++k) relax(form, grid, seeds, strength);
  return seeds;
}

std::optional<CornerMesh> corner_mesh(const geometry::Profile& form, const std::vector<Vector2d>& seeds) {
  const double spacing = std::sqrt(geometry::surface_area(form) / static_cast<double>(seeds.size()));
  const Grid grid = make_grid(form, std::max(0.5, spacing / 40));
  const std::vector<std::size_t> owner = nearest_seeds(grid, on_form(form, seeds));
  CornerMesh mesh;
  std::vector<std::set<int>> sets;
  for (const auto& [cells, places] : raw_corners(grid, owner, 0.35 * spacing)) {
    if (places.size() != 1) return std::nullopt;
    CornerMesh::Corner corner;
    corner.uv = form.locate(places[0].sum / places[0].count).uv;
    corner.on_rim = cells.contains(kRim);
    if (corner.on_rim) corner.uv *= form.length() / corner.uv.norm();
    for (const int c : cells) {
      if (c != kRim) corner.cells.push_back(static_cast<std::size_t>(c));
    }
    mesh.corners.push_back(corner);
    sets.push_back(cells);
  }
  for (std::size_t cell = 0; cell < seeds.size(); ++cell) {
    const Vector3d centre = form.point(seeds[cell]), ex = form.along_ring(seeds[cell]);
    const Vector3d ey = form.normal(seeds[cell]).cross(ex);
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t j = 0; j < mesh.corners.size(); ++j) {
      if (!sets[j].contains(static_cast<int>(cell))) continue;
      const Vector3d d = form.point(mesh.corners[j].uv) - centre;
      order.emplace_back(std::atan2(d.dot(ey), d.dot(ex)), j);
    }
    std::sort(order.begin(), order.end());
    if (order.size() < 3) return std::nullopt;
    std::vector<std::size_t> walk;
    for (std::size_t k = 0; k < order.size(); ++k) {
      if (!neighbours(sets[order[k].second], sets[order[(k + 1) % order.size()].second],
                      static_cast<int>(cell))) {
        return std::nullopt;
      }
      walk.push_back(order[k].second);
    }
    mesh.cells.push_back(walk);
  }
  return mesh;
}

}  // namespace interstice::layout
