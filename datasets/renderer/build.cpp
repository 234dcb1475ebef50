#include "renderer/build.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/errors.h"
#include "core/parallel.h"
#include "renderer/angles.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::AngleAxisd;
using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kLeastClearance = 0.05;  // mm: wood does not run into wood
constexpr int kRoundSteps = 3;            // flats that stand for the round on the arris

// The maker's errors with one piece, in standard deviations or parts of the whole.
struct Errors {
  double along, across, turn, tilt_x, tilt_y, lift, bevel;
  std::uint64_t cut_seed;
};

Errors draw_errors(std::uint64_t seed, std::size_t piece) {
  Random random(key(seed, 23, piece));
  Errors e{};
  e.along = random.bounded_normal(2.5);
  e.across = random.bounded_normal(2.5);
  e.turn = random.bounded_normal(2.5);
  e.tilt_x = random.bounded_normal(2.5);
  e.tilt_y = random.bounded_normal(2.5);
  e.lift = random.unit();
  e.bevel = random.bounded_normal(2);
  e.cut_seed = random.bits();
  return e;
}

// Corners, bevel and face as hands leave them, from numbers of their own.
void make_uneven(const SceneOptions& o, std::size_t index, double care, BuiltPiece& p) {
  constexpr int kCorner = 4, kBevel = 5;                       // waves round a piece
  constexpr double kPieces = 0.8, kRound = 0.7, kSteep = 1.5;  // of the logistic's argument
  if (o.build.corner_most_mm > 0) {
    const double least = o.build.corner_least_mm, most = o.build.corner_most_mm;
    const double piece = kPieces * Random(key(o.seed, 109, index)).normal();
    for (const double wave : wave_along(p.outline, kRound, kCorner, key(o.seed, 113, index)))
      p.corner_mm.push_back(least + (most - least) / (1 + std::exp(-kSteep * (piece + wave))));
  }
  if (o.build.waver_deg > 0) {
    for (const double wave : wave_along(p.outline, care * o.build.waver_deg, kBevel, key(o.seed, 127, index)))
      p.bevel_at_deg.push_back(std::clamp(p.bevel_deg + wave, 0.0, 30.0));
  }
  if (o.build.round_mm > 0) p.bow_mm = o.build.round_mm * Random(key(o.seed, 131, index)).between(-1, 1);
}

// `care` shrinks all errors of placing and cutting.
BuiltPiece build_piece(const Form& form, const SceneOptions& o, const Layout& layout, std::size_t index,
                       double care) {
  const PlannedPiece& plan = layout.pieces[index];
  const Errors e = draw_errors(o.seed, index);
  BuiltPiece p;
  p.label = plan.label;
  p.ring = plan.ring;
  p.broken_arris_mm = o.build.broken_arris_mm;
  p.thickness_mm = o.layout.thickness_mm;
  p.bevel_deg = std::clamp(layout.bevel_deg + care * e.bevel * o.build.bevel_error_deg, 0.0, 30.0);
  p.moved_mm = care * o.build.shift_mm * Vector2d(e.along, e.across);
  p.turned_deg = care * o.build.turn_deg * e.turn;
  const Frame planned = form.frame(plan.centre, 0);
  const Vector2d uv = form.locate(planned.to_bowl({p.moved_mm.x(), p.moved_mm.y(), 0}));
  p.frame = form.frame(uv, p.thickness_mm + care * o.build.lift_max_mm * e.lift + form.error_mm(uv.norm()));
  const Vector3d tilt(e.tilt_x, e.tilt_y, 0);
  const double angle = radians(care * o.build.tilt_deg) * tilt.norm();
  p.frame.axes = p.frame.axes * AngleAxisd(angle, tilt.normalized()).toRotationMatrix() *
                 AngleAxisd(radians(p.turned_deg), Vector3d::UnitZ()).toRotationMatrix();
  p.outline = with_wavy_edge(plan.face, care * o.build.cut_error_mm, e.cut_seed);
  make_uneven(o, index, care, p);
  return p;
}

bool placed(const SceneOptions& o, const BuiltPiece& p) {
  return o.layout.rings_placed == 0 || p.ring <= o.layout.rings_placed;
}

void leave_some_off(const SceneOptions& o, std::vector<BuiltPiece>& pieces) {
  Random random(key(o.seed, 37));
  std::vector<std::size_t> there;
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    if (pieces[i].placed) there.push_back(i);
  }
  for (int k = 0; k < o.layout.missing && !there.empty(); ++k) {
    const std::size_t at = static_cast<std::size_t>(random.unit() * static_cast<double>(there.size()));
    pieces[there[at]].placed = false;
    there.erase(there.begin() + static_cast<std::ptrdiff_t>(at));
  }
}

bool too_close(const Body& a, const Body& b) {
  if ((a.centre() - b.centre()).norm() > a.radius_mm() + b.radius_mm() + kLeastClearance) return false;
  for (const auto* pair : {&a, &b}) {
    const Body& other = pair == &a ? b : a;
    for (const auto& ring : pair->rings()) {
      if (curve_to_body(ring, other, kLeastClearance).mm <= kLeastClearance) return true;
    }
  }
  return false;
}

}  // namespace

std::vector<LevelRing> BuiltPiece::levels() const {
  const std::size_t n = outline.size();
  std::vector<double> edge(n),
      face(n, 0.0);  // distance of the face's edge from the outline; z of the face there
  for (std::size_t i = 0; i < n; ++i) edge[i] = -corner_at(i);
  if (bow_mm != 0) {
    const Outline at = offset_points(outline, edge);
    for (std::size_t i = 0; i < n; ++i) face[i] = face_z(at[i]);
  }
  std::vector<LevelRing> out;
  const bool rounded = !corner_mm.empty() || broken_arris_mm > 0;
  for (int k = 0; rounded && k < kRoundSteps; ++k) {
    const double a = 0.5 * std::numbers::pi * k / kRoundSteps;
    out.emplace_back();
    for (std::size_t i = 0; i < n; ++i)
      out.back().push_back({corner_at(i) * (1 - std::cos(a)) - face[i], corner_at(i) * (1 - std::sin(a))});
  }
  out.resize(out.size() + 2);
  for (std::size_t i = 0; i < n; ++i) {
    const double widest = corner_at(i) - face[i];
    out[out.size() - 2].push_back({widest, 0});
    out.back().push_back({thickness_mm, (thickness_mm - widest) * std::tan(radians(bevel_at(i)))});
  }
  return out;
}

std::size_t widest_level(const BuiltPiece& piece) {
  return piece.levels().size() - 2;
}

namespace {

// Mean square of the outline's distances from its centroid.
double spread(const Outline& outline, const Vector2d& centroid) {
  double sum = 0;
  for (const Vector2d& p : outline) sum += (p - centroid).squaredNorm();
  return sum / static_cast<double>(outline.size());
}

}  // namespace

double BuiltPiece::face_z(const Vector2d& p) const {
  if (bow_mm == 0) return 0;
  const Vector2d c = area_centroid(outline);
  return -bow_mm * (p - c).squaredNorm() / spread(outline, c);
}

Vector2d BuiltPiece::face_slope(const Vector2d& p) const {
  if (bow_mm == 0) return Vector2d::Zero();
  const Vector2d c = area_centroid(outline);
  return 2 * bow_mm / spread(outline, c) * (p - c);
}

std::vector<Ring> BuiltPiece::face_rings(const Ring& edge) const {
  Outline flat;
  for (const Vector3d& p : edge) flat.emplace_back(p.head<2>());
  const Vector2d c = area_centroid(flat);
  std::vector<Ring> out;
  for (const double scale : {0.95, 0.86, 0.68, 0.4}) {
    out.emplace_back();
    for (std::size_t i = 0; i < edge.size(); ++i) {
      const Vector2d p = c + scale * (flat[i] - c);
      out.back().emplace_back(p.x(), p.y(), bow_mm == 0 ? edge[i].z() : face_z(p));
    }
  }
  return out;
}

Body BuiltPiece::body() const {
  const std::vector<LevelRing> all = levels();
  std::vector<Ring> face;
  if (bow_mm != 0) face = face_rings(ring_points(outline, all.front()));
  return Body(frame, outline, all, all.size() - 2, face);
}

std::vector<BuiltPiece> build_pieces(const Form& form, const SceneOptions& o, const Layout& layout) {
  const std::size_t n = layout.pieces.size();
  std::vector<double> care(n, 1.0);
  std::vector<BuiltPiece> pieces(n);
  std::vector<std::size_t> changed(n);
  for (std::size_t i = 0; i < n; ++i) changed[i] = i;
  std::vector<Body> bodies;
  for (std::size_t i = 0; i < n; ++i) {
    pieces[i] = build_piece(form, o, layout, i, 1.0);
    pieces[i].placed = placed(o, pieces[i]);
    bodies.push_back(pieces[i].body());
  }
  std::vector<char> unsure(n, 1);  // to be looked at again: the piece has moved
  for (int round = 0; round < 24; ++round) {
    std::vector<char> touched(n, 0);
    core::parallel_for(n, o.sampling.threads, [&](std::size_t i) {
      for (std::size_t j = 0; j < n && pieces[i].placed && !touched[i]; ++j) {
        if (j == i || !pieces[j].placed || !(unsure[i] || unsure[j])) continue;
        touched[i] = too_close(bodies[i], bodies[j]);
      }
    });
    unsure = touched;
    if (std::none_of(touched.begin(), touched.end(), [](char t) { return t != 0; })) {
      leave_some_off(o, pieces);
      return pieces;
    }
    for (std::size_t i = 0; i < n; ++i) {
      if (!touched[i]) continue;
      care[i] *= round < 22 ? 0.75 : 0;
      const bool is_placed = pieces[i].placed;
      pieces[i] = build_piece(form, o, layout, i, care[i]);
      pieces[i].placed = is_placed;
      bodies[i] = pieces[i].body();
    }
  }
  throw core::InputError(
      "scene: planned pieces run into each other; use a wider gap, a larger bevel or thinner stock");
}

}  // namespace interstice::renderer
