#include "renderer/poured.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/parallel.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kUnder_mm = 5;       // resin is followed so far under the pieces
constexpr double kWidest_mm = 9;      // seam that resin bridges; where wider, it has run off
constexpr double kMeniscus_mm = 0.9;  // resin climbs the wood over about half its capillary length
constexpr double kOverRim_mm = 1.0;   // proud resin lies so far over the pieces' rims
constexpr double kBuried_mm = 0.6;    // below a face: inside the wood
constexpr double kLayer_mm = 0.25;
constexpr double kLeastLength_mm = 4;

// Signed distance to an outline, negative inside.
double outside_of(const Outline& outline, const Vector2d& p) {
  double best = 1e18;
  bool in = false;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const Vector2d &a = outline[i], &b = outline[j];
    const Vector2d d = b - a;
    const double t = std::clamp((p - a).dot(d) / d.squaredNorm(), 0.0, 1.0);
    best = std::min(best, (a + t * d - p).squaredNorm());
    if ((a.y() > p.y()) != (b.y() > p.y()) && p.x() < d.x() * (p.y() - a.y()) / d.y() + a.x()) in = !in;
  }
  return in ? -std::sqrt(best) : std::sqrt(best);
}

struct Near {
  int piece;
  double outside_mm, face_mm;
};

class Pourer {
 public:
  Pourer(const Form& form, const SceneOptions& o, const std::vector<BuiltPiece>& pieces)
      : form_(form), o_(o), pieces_(pieces) {
    out_.step_mm = o.resin.step_mm;
    out_.side = 2 * static_cast<int>(std::ceil((form.length_mm() + 2) / out_.step_mm)) + 1;
    const auto side = static_cast<std::size_t>(out_.side);
    out_.cells.resize(side * side);
    core::parallel_for(side, o.sampling.threads, [&](std::size_t row) { level_row(static_cast<int>(row)); });
  }

  Poured pour(const std::vector<TrueSeam>& seams) {
    for (std::size_t k = 0; k < seams.size(); ++k) out_.filled.push_back(fills(k, seams[k]) ? 1 : 0);
    for (std::size_t k = 0; k < seams.size(); ++k) {
      if (out_.filled[k] == 0 && !leave_hollow(k, seams[k])) out_.filled[k] = 1;
    }
    list_run_off();
    burst_bubbles();
    return std::move(out_);
  }

 private:
  void level_row(int row) {
    for (int column = 0; column < out_.side; ++column) {
      const Vector2d uv = out_.map_at(row, column);
      if (uv.norm() > form_.length_mm()) continue;
      level(uv, out_.cell(row, column));
    }
  }

  void level(const Vector2d& uv, ResinCell& cell) const {
    const Frame f = form_.frame(uv, form_.error_mm(uv.norm()));
    const Vector3d normal = f.axes.col(2);
    std::array<Near, 2> near{Near{-1, 1e9, 0}, Near{-1, 1e9, 0}};
    for (std::size_t i = 0; i < pieces_.size(); ++i) {
      const BuiltPiece& p = pieces_[i];
      if (!p.placed) continue;
      const Vector3d face = p.frame.axes.col(2);
      const double lean = face.dot(normal);
      if (lean < 0.5 || (p.frame.origin - f.origin).squaredNorm() > 80 * 80) continue;
      const double height = (p.frame.origin - f.origin).dot(face) / lean;
      const Vector3d q = p.frame.from_bowl(f.origin + height * normal);
      const Near n{static_cast<int>(i), outside_of(p.outline, q.head<2>()), height};
      if (n.outside_mm < near[0].outside_mm)
        near[1] = near[0], near[0] = n;
      else if (n.outside_mm < near[1].outside_mm)
        near[1] = n;
    }
    if (near[0].piece < 0 || near[0].outside_mm < -kUnder_mm || near[0].outside_mm > kWidest_mm) return;
    cell.first = near[0].piece, cell.second = near[1].piece;
    cell.first_mm = near[0].outside_mm, cell.second_mm = near[1].outside_mm;
    cell.there = true;
    const double w0 = 1 / std::max(1e-3, near[0].outside_mm), w1 = 1 / std::max(1e-3, near[1].outside_mm);
    cell.flush_mm = near[0].outside_mm <= 0 || near[1].piece < 0
                        ? near[0].face_mm
                        : (w0 * near[0].face_mm + w1 * near[1].face_mm) / (w0 + w1);
    const bool run_off = cell.first_mm > kWidest_mm / 2 || (cell.first_mm > 0 && cell.second_mm > kWidest_mm);
    cell.top_mm = run_off ? -1 : cell.flush_mm + rise(cell.first_mm);
  }

  // Of the resin over flush, so far outside the nearest outline.
  double rise(double outside_mm) const {
    const double level = o_.resin.level_mm,
                 round = std::max(o_.build.broken_arris_mm, o_.build.corner_most_mm);
    if (outside_mm > 0) return level < 0 ? level * (1 - std::exp(-outside_mm / kMeniscus_mm)) : level;
    const double over = level > 0 ? kOverRim_mm : 0;
    if (outside_mm < -std::max(round, over)) return -kBuried_mm;
    return over > 0 ? level * (1 + outside_mm / kOverRim_mm) : -0.005;
  }

  bool fills(std::size_t k, const TrueSeam& s) const {
    if (s.length_mm < 5 || s.mouth_mm > 8) return true;
    Random random(key(o_.seed, 83, k));
    return random.unit() < 1 / (1 + std::exp(-(s.mouth_mm - o_.resin.limit_mm) / o_.resin.spread_mm));
  }

  double area(const Vector2d& uv, double height) const {  // of one cell at a height
    const double h = out_.step_mm / 2;
    const Vector3d u = form_.point(uv + Vector2d(h, 0), height) - form_.point(uv - Vector2d(h, 0), height);
    const Vector3d v = form_.point(uv + Vector2d(0, h), height) - form_.point(uv - Vector2d(0, h), height);
    return u.cross(v).norm();
  }

  bool of_pair(const ResinCell& c, int a, int b) const {
    return c.there && ((c.first == a && c.second == b) || (c.first == b && c.second == a));
  }

  int index_of(const std::string& label) const {
    for (std::size_t i = 0; i < pieces_.size(); ++i) {
      if (pieces_[i].label == label) return static_cast<int>(i);
    }
    return -1;
  }

  template <class Work>
  void around(const Vector2d& centre, double reach_mm, const Work& work) {
    const int middle = out_.side / 2, reach = static_cast<int>(reach_mm / out_.step_mm);
    const int row0 = middle + static_cast<int>(std::lround(centre.y() / out_.step_mm));
    const int column0 = middle + static_cast<int>(std::lround(centre.x() / out_.step_mm));
    for (int row = std::max(0, row0 - reach); row <= std::min(out_.side - 1, row0 + reach); ++row) {
      for (int column = std::max(0, column0 - reach); column <= std::min(out_.side - 1, column0 + reach);
           ++column)
        work(out_.map_at(row, column), out_.cell(row, column));
    }
  }

  // Direction of a seam on the map about a place of it, by its open cells; zero where there are too few.
  Vector2d direction(const Vector2d& centre, int a, int b) {
    Vector2d mean = Vector2d::Zero();
    Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
    double n = 0;
    around(centre, 6, [&](const Vector2d& uv, const ResinCell& c) {
      if (!of_pair(c, a, b) || c.first_mm < 0) return;
      mean += uv, spread += uv * uv.transpose(), n += 1;
    });
    if (n < 10) return Vector2d::Zero();
    mean /= n;
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> axes(spread / n - mean * mean.transpose());
    return axes.eigenvectors().col(1);
  }

  bool leave_hollow(std::size_t k, const TrueSeam& s) {
    const int a = index_of(s.first), b = index_of(s.second);
    const Vector2d along = direction(s.map, a, b);
    if (along.isZero()) return false;
    Random random(key(o_.seed, 89, k));
    const double length =
        kLeastLength_mm + random.unit() * std::max(0.0, 0.6 * s.length_mm - kLeastLength_mm);
    TrueVoid v;
    v.tiles = {s.first, s.second};
    v.mouth_mm = s.mouth_mm;
    v.depth_mm = random.between(o_.resin.least_depth_mm, o_.resin.most_depth_mm);
    Vector2d weighted = Vector2d::Zero();
    double low = 1e9, high = -1e9;
    around(s.map, length, [&](const Vector2d& uv, ResinCell& c) {
      const double t = (uv - s.map).dot(along);
      // Not where the shell ends, or pieces stand too far apart for resin to have stood at all.
      if (!of_pair(c, a, b) || std::abs(t) > length / 2 || c.hollow || c.top_mm < 0) return;
      if (c.first_mm + c.second_mm > kWidest_mm) return;
      c.hollow = true;
      const double floor = std::max(0.3, c.flush_mm - v.depth_mm);
      c.top_mm = floor;
      const double cell = area(uv, c.flush_mm);
      const double open = std::clamp(0.5 + c.first_mm / std::sqrt(cell), 0.0, 1.0);
      v.opening_mm2 += open * cell;
      weighted += open * cell * uv;
      v.volume_ml += column_ml(uv, floor, c, a, b);
      if (open > 0.5) low = std::min(low, t), high = std::max(high, t);
    });
    if (v.opening_mm2 <= 0) return false;
    v.map = weighted / v.opening_mm2;
    v.length_mm = high - low + out_.step_mm;
    out_.voids.push_back(v);
    return true;
  }

  // Between pieces all round, but farther apart than resin bridges: at a junction, say.
  void list_run_off() {
    const auto run_off = [&](std::size_t i) {
      const ResinCell& c = out_.cells[i];
      return c.there && c.first_mm > 0 && c.top_mm < 0 && !c.hollow;
    };
    const auto side = static_cast<std::size_t>(out_.side);
    std::vector<char> done(out_.cells.size(), 0);
    for (std::size_t start = 0; start < done.size(); ++start) {
      if (done[start] != 0 || !run_off(start)) continue;
      std::vector<std::size_t> part{start};
      done[start] = 1;
      bool shut_in = true;
      for (std::size_t n = 0; n < part.size(); ++n) {
        const std::size_t row = part[n] / side, column = part[n] % side;
        shut_in = shut_in && row > 0 && column > 0 && row + 1 < side && column + 1 < side &&
                  out_.cells[part[n]].second_mm <= kWidest_mm;
        if (row == 0 || column == 0 || row + 1 == side || column + 1 == side) continue;
        for (const std::size_t k : {part[n] - 1, part[n] + 1, part[n] - side, part[n] + side}) {
          shut_in = shut_in && out_.cells[k].there;
          if (done[k] != 0 || !run_off(k)) continue;
          done[k] = 1;
          part.push_back(k);
        }
      }
      if (shut_in) add_run_off(part);
    }
  }

  void add_run_off(const std::vector<std::size_t>& part) {
    const auto side = static_cast<std::size_t>(out_.side);
    TrueVoid v;
    const ResinCell& middle = out_.cells[part[part.size() / 2]];
    v.tiles = {pieces_[static_cast<std::size_t>(middle.first)].label,
               pieces_[static_cast<std::size_t>(middle.second)].label};
    v.mouth_mm = middle.first_mm + middle.second_mm;
    Vector2d low = Vector2d::Constant(1e9), high = -low;
    for (const std::size_t i : part) {
      ResinCell& c = out_.cells[i];
      c.hollow = true;
      const Vector2d uv = out_.map_at(static_cast<int>(i / side), static_cast<int>(i % side));
      const double cell = area(uv, c.flush_mm);
      v.opening_mm2 += cell;
      v.map += cell * uv;
      v.volume_ml += column_ml(uv, 0, c, c.first, c.second);
      v.depth_mm = std::max(v.depth_mm, c.flush_mm);
      low = low.cwiseMin(uv), high = high.cwiseMax(uv);
    }
    v.map /= v.opening_mm2;
    v.length_mm = (high - low).maxCoeff() + out_.step_mm;
    out_.voids.push_back(v);
  }

  double column_ml(const Vector2d& uv, double floor, const ResinCell& c, int a, int b) const {
    double sum = 0;
    const double error = form_.error_mm(uv.norm());
    for (double h = floor + kLayer_mm / 2; h < c.flush_mm; h += kLayer_mm) {
      const Vector3d p = form_.point(uv, h + error);
      // Where the column is well clear of both outlines, walls that draw back below leave it clear.
      const bool wood = c.first_mm < 0.5 && (body(a).contains(p) || body(b).contains(p));
      if (!wood) sum += area(uv, h) * kLayer_mm;
    }
    return sum / 1000;
  }

  const Body& body(int piece) const {
    auto& b = bodies_[static_cast<std::size_t>(piece)];
    if (!b) b = pieces_[static_cast<std::size_t>(piece)].body();
    return *b;
  }

  void burst_bubbles() {
    Random random(key(o_.seed, 97));
    const auto n = static_cast<double>(out_.cells.size());
    for (int left = o_.resin.pits, tries = 0; left > 0 && tries < 4000000; ++tries) {
      const auto at = static_cast<std::size_t>(random.unit() * n);
      const ResinCell middle = out_.cells[at];
      const double radius = random.between(0.65, 1.35);
      if (!middle.there || middle.top_mm < 0 || middle.first_mm < radius + 0.1) continue;
      const auto side = static_cast<std::size_t>(out_.side);
      const Vector2d centre = out_.map_at(static_cast<int>(at / side), static_cast<int>(at % side));
      bool near = false;
      around(centre, radius + 4, [&](const Vector2d& uv, const ResinCell& c) {
        const bool no_resin = (uv - centre).norm() < radius + 0.5 && c.top_mm < 0;
        near = near || c.hollow || no_resin;
      });
      if (near) continue;
      burst(centre, radius, middle);
      --left;
    }
  }

  void burst(const Vector2d& centre, double radius, const ResinCell& middle) {
    const double depth = 1.2 * radius;
    const double step = std::sqrt(area(centre, middle.flush_mm));  // of a cell on the resin
    const double scale = step / out_.step_mm;
    around(centre, radius / scale + 1, [&](const Vector2d& uv, ResinCell& c) {
      const double d = scale * (uv - centre).norm() / radius;
      if (d >= 1) return;
      c.hollow = true;
      c.top_mm -= depth * std::sqrt(1 - d * d);
    });
    TrueVoid v;
    v.tiles = {pieces_[static_cast<std::size_t>(middle.first)].label};
    v.map = centre;
    v.bubble = true;
    v.opening_mm2 = std::numbers::pi * radius * radius;
    v.depth_mm = depth;
    v.length_mm = 2 * radius;
    v.volume_ml = 2.0 / 3 * v.opening_mm2 * depth / 1000;
    out_.voids.push_back(v);
  }

  const Form& form_;
  const SceneOptions& o_;
  const std::vector<BuiltPiece>& pieces_;
  Poured out_;
  mutable std::vector<std::optional<Body>> bodies_ = std::vector<std::optional<Body>>(pieces_.size());
};

}  // namespace

Poured pour_resin(const Form& form, const SceneOptions& options, const std::vector<BuiltPiece>& pieces,
                  const std::vector<TrueSeam>& seams) {
  return Pourer(form, options, pieces).pour(seams);
}

}  // namespace interstice::renderer
