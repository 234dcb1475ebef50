#include "renderer/truth.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

#include "core/parallel.h"
#include "renderer/poured.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;
using nlohmann::ordered_json;

namespace {

constexpr double kReach = 14;        // mm: wider seams are not listed
constexpr double kSharedWithin = 8;  // mm: arris further from the partner does not count as shared
constexpr double kLengthStep = 0.25;

// For points along one piece's arris: the distance to every near piece's arris.
struct ArrisDistances {
  double step = kLengthStep;            // real spacing of the points
  std::vector<std::vector<double>> to;  // [piece][point]; empty for pieces out of reach
};

ArrisDistances arris_distances(std::size_t own, const std::vector<std::optional<Body>>& bodies) {
  const Body& body = *bodies[own];
  const std::vector<Vector3d> points = dense(body.arris(), kLengthStep);
  double length = 0;
  for (std::size_t i = 0; i < points.size(); ++i)
    length += (points[(i + 1) % points.size()] - points[i]).norm();
  ArrisDistances out;
  out.step = length / static_cast<double>(points.size());
  out.to.resize(bodies.size());
  for (std::size_t j = 0; j < bodies.size(); ++j) {
    if (j == own || !bodies[j]) continue;
    if ((bodies[j]->centre() - body.centre()).norm() > body.radius_mm() + bodies[j]->radius_mm() + kReach)
      continue;
    for (const Vector3d& p : points) out.to[j].push_back(point_to_curve(p, bodies[j]->arris()));
  }
  return out;
}

double shared_length(const ArrisDistances& own, std::size_t partner, double within) {
  double length = 0;
  for (std::size_t s = 0; s < own.to[partner].size(); ++s) {
    const double d = own.to[partner][s];
    if (d > within) continue;
    const bool nearest = std::all_of(own.to.begin(), own.to.end(), [&](const std::vector<double>& other) {
      return other.empty() || other[s] >= d;
    });
    if (nearest) length += own.step;
  }
  return length;
}

Shortest shorter(const Shortest& a, const Shortest& b) {
  return b.mm < a.mm ? b : a;
}

// Rings every millimetre or so down the wall, the face's edge and the arris among them.
std::vector<Ring> wall_rings(const BuiltPiece& piece) {
  std::vector<LevelRing> levels = piece.levels();
  const LevelRing wall = levels[levels.size() - 2], root = levels.back();
  levels.pop_back();
  const int steps = std::max(2, static_cast<int>(std::ceil(root.front().depth_mm - wall.front().depth_mm)));
  for (int k = 1; k <= steps; ++k) levels.push_back(between(wall, root, static_cast<double>(k) / steps));
  return Body(piece.frame, piece.outline, levels, 0).rings();
}

using Rings = std::vector<Ring>;

Shortest clearance(const Body& a, const Body& b, const Rings& rings_a, const Rings& rings_b, Shortest best) {
  const auto look = [&](const Rings& rings, const Body& other) {
    for (const auto& ring : rings) best = shorter(best, curve_to_body(ring, other, best.mm));
  };
  look(rings_a, b);
  look(rings_b, a);
  return best;
}

double root_distance(const Body& a, const Body& b) {
  double best = 1e9;
  for (const Vector3d& p : dense(a.root(), kLengthStep)) best = std::min(best, point_to_curve(p, b.root()));
  for (const Vector3d& p : dense(b.root(), kLengthStep)) best = std::min(best, point_to_curve(p, a.root()));
  return best;
}

double rounded(double x, double unit) {
  return std::round(x / unit) * unit;
}

ordered_json numbers(const Vector3d& v, double unit = 0) {
  ordered_json out = ordered_json::array();
  for (int i = 0; i < 3; ++i) out.push_back(unit > 0 ? rounded(v[i], unit) : v[i]);
  return out;
}

ordered_json card_json(const CardPlace& c) {
  ordered_json out = {{"card", c.card},
                      {"centre", numbers(c.frame.origin)},
                      {"ex", numbers(c.frame.axes.col(0))},
                      {"ey", numbers(c.frame.axes.col(1))},
                      {"scale", c.print_scale}};
  if (c.curl_per_mm != 0) {
    out["curl_per_mm"] = c.curl_per_mm;
    out["curl_towards_rad"] = c.curl_towards_rad;
  }
  return out;
}

ordered_json piece_json(const BuiltPiece& p) {
  ordered_json out = {{"label", p.label}, {"ring", p.ring}, {"placed", p.placed}};
  if (!p.placed) return out;
  out["outer"] = ordered_json::array();
  const LevelRing widest = p.levels()[widest_level(p)];
  for (std::size_t i = 0; i < p.outline.size(); ++i) {
    const Vector2d& q = p.outline[i];
    out["outer"].push_back(numbers(p.frame.to_bowl({q.x(), q.y(), -widest[i].depth_mm}), 1e-4));
  }
  out["normal"] = numbers(p.frame.axes.col(2), 1e-6);
  out["built_bevel_deg"] = rounded(p.bevel_deg, 1e-3);
  out["moved_mm"] = {rounded(p.moved_mm.x(), 1e-3), rounded(p.moved_mm.y(), 1e-3)};
  out["turned_deg"] = rounded(p.turned_deg, 1e-3);
  for (const double corner : p.corner_mm) out["corner_mm"].push_back(rounded(corner, 1e-3));
  if (p.bow_mm != 0) out["bow_mm"] = rounded(p.bow_mm, 1e-3);
  return out;
}

ordered_json seam_json(const TrueSeam& s) {
  return {{"tiles", {s.first, s.second}},
          {"mouth_mm", rounded(s.mouth_mm, 1e-4)},
          {"clearance_mm", rounded(s.clearance_mm, 1e-4)},
          {"at", numbers(s.at, 1e-3)},
          {"map", {rounded(s.map.x(), 1e-3), rounded(s.map.y(), 1e-3)}},
          {"clearance_at", numbers(s.clearance_at, 1e-3)},
          {"root_mm", rounded(s.root_mm, 1e-4)},
          {"length_mm", rounded(s.length_mm, 1e-2)},
          {"tight_length_mm", rounded(s.tight_length_mm, 1e-2)}};
}

ordered_json void_json(const TrueVoid& v) {
  ordered_json out = {{"tiles", v.tiles}, {"map", {rounded(v.map.x(), 1e-2), rounded(v.map.y(), 1e-2)}}};
  if (v.bubble)
    out["bubble"] = true;
  else
    out["mouth_mm"] = rounded(v.mouth_mm, 1e-4);
  out["opening_mm2"] = rounded(v.opening_mm2, 1e-2);
  out["depth_mm"] = rounded(v.depth_mm, 1e-2);
  out["volume_ml"] = rounded(v.volume_ml, 1e-5);
  out["length_mm"] = rounded(v.length_mm, 1e-2);
  return out;
}

void add_pour(const Poured& poured, ordered_json& out) {
  for (std::size_t k = 0; k < poured.filled.size(); ++k)
    out["seams"][k]["poured"] = poured.filled[k] != 0 ? "filled" : "void";
  out["voids"] = ordered_json::array();
  for (const TrueVoid& v : poured.voids) out["voids"].push_back(void_json(v));
}

ordered_json shot_json(const Shot& s) {
  ordered_json rotation = ordered_json::array();
  for (int i = 0; i < 3; ++i) rotation.push_back(numbers(s.camera_R_bowl.row(i).transpose()));
  ordered_json out = {{"name", s.name},
                      {"w", s.width_px},
                      {"h", s.height_px},
                      {"fx", s.focal_px},
                      {"fy", s.focal_px},
                      {"cx", s.cx_px},
                      {"cy", s.cy_px},
                      {"k", {s.k1, s.k2, s.k3}},
                      {"p", {s.p1, s.p2}},
                      {"R", rotation},
                      {"t", numbers(s.camera_t_bowl)},
                      {"focus", s.focus_mm},
                      {"aperture", s.aperture_mm},
                      {"exposure", s.exposure},
                      {"portrait", s.portrait}};
  if (!s.row_shift_px.isZero(0)) out["row_shift_px"] = {s.row_shift_px.x(), s.row_shift_px.y()};
  if (!s.smear_px.isZero(0)) out["smear_px"] = {s.smear_px.x(), s.smear_px.y()};
  return out;
}

}  // namespace

std::vector<TrueSeam> true_seams(const Form& form, const std::vector<BuiltPiece>& pieces,
                                 double smallest_fill_mm, int threads) {
  std::vector<std::optional<Body>> bodies(pieces.size());
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    if (pieces[i].placed) bodies[i] = pieces[i].body();
  }
  std::vector<ArrisDistances> arris(pieces.size());
  std::vector<Rings> rings(pieces.size());
  core::parallel_for(pieces.size(), threads, [&](std::size_t i) {
    if (!bodies[i]) return;
    arris[i] = arris_distances(i, bodies);
    rings[i] = wall_rings(pieces[i]);
  });
  std::vector<std::vector<TrueSeam>> found(pieces.size());
  core::parallel_for(pieces.size(), threads, [&](std::size_t i) {
    for (std::size_t j = i + 1; j < pieces.size() && bodies[i]; ++j) {
      if (!bodies[j] || arris[i].to[j].empty()) continue;
      const Shortest mouth = shorter(curve_to_body(bodies[i]->arris(), *bodies[j], kReach),
                                     curve_to_body(bodies[j]->arris(), *bodies[i], kReach));
      if (mouth.mm > kReach) continue;
      const Shortest throat = clearance(*bodies[i], *bodies[j], rings[i], rings[j], mouth);
      TrueSeam s{pieces[i].label,
                 pieces[j].label,
                 mouth.mm,
                 throat.mm,
                 root_distance(*bodies[i], *bodies[j]),
                 0.5 * (mouth.from + mouth.to),
                 0.5 * (throat.from + throat.to),
                 {},
                 0,
                 0};
      s.map = form.locate(s.at);
      s.length_mm =
          0.5 * (shared_length(arris[i], j, kSharedWithin) + shared_length(arris[j], i, kSharedWithin));
      s.tight_length_mm =
          0.5 * (shared_length(arris[i], j, smallest_fill_mm) + shared_length(arris[j], i, smallest_fill_mm));
      found[i].push_back(std::move(s));
    }
  });
  std::vector<TrueSeam> all;
  for (auto& list : found) all.insert(all.end(), list.begin(), list.end());
  std::stable_sort(all.begin(), all.end(),
                   [](const auto& a, const auto& b) { return a.mouth_mm < b.mouth_mm; });
  return all;
}

std::string truth_json(const TruthInput& in) {
  ordered_json out = {{"name", in.name},
                      {"smallest_fill", in.smallest_fill_mm},
                      {"rings_placed", in.rings_placed},
                      {"card_scale", in.card_scale}};
  for (const char* name : {"cards", "tiles", "seams", "cameras"}) out[name] = ordered_json::array();
  for (const CardPlace& c : *in.cards) out["cards"].push_back(card_json(c));
  for (const BuiltPiece& p : *in.pieces) out["tiles"].push_back(piece_json(p));
  for (const TrueSeam& s : *in.seams) out["seams"].push_back(seam_json(s));
  for (const Shot& s : *in.shots) out["cameras"].push_back(shot_json(s));
  if (in.poured != nullptr) add_pour(*in.poured, out);
  return out.dump() + "\n";
}

}  // namespace interstice::renderer
