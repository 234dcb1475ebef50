#include "renderer/glue.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kBelowMouth_mm = 1.5;  // at the least: glue that reached the mouth would be scraped off
constexpr double kStep_mm = 0.8;        // between mounds

// A squeezed-out drop of glue: the upper half of a flattened ball.
void add_mound(Mesh& mesh, const Vector3d& at, const Vector3d& up, double radius, double flat) {
  const int around = 10, rows = 4;
  const Vector3d x = up.unitOrthogonal(), y = up.cross(x);
  Row above;
  const std::uint32_t top = mesh.add(at + flat * radius * up, up);
  for (int k = 1; k <= rows; ++k) {
    const double b = 0.5 * std::numbers::pi * k / rows;
    Row row;
    for (int i = 0; i < around; ++i) {
      const double a = 2 * std::numbers::pi * i / around;
      const Vector3d side = std::cos(a) * x + std::sin(a) * y;
      row.push_back(mesh.add(at + radius * (std::sin(b) * side + flat * std::cos(b) * up),
                             (flat * std::sin(b) * side + std::cos(b) * up).normalized()));
    }
    if (k > 1) {
      band(mesh, above, row, Part::other);
    } else {
      for (std::size_t i = 0; i < row.size(); ++i)
        mesh.add_triangle(top, row[i], row[(i + 1) % row.size()], Part::other);
    }
    above = std::move(row);
  }
}

Frame on_form(const Scene& scene, const Vector3d& place) {
  const Vector2d uv = scene.form.locate(place);
  return scene.form.frame(uv, scene.form.error_mm(uv.norm()));
}

void add_drops(const Scene& scene, Mesh& mesh) {
  for (std::size_t i = 0; i < scene.pieces.size(); ++i) {
    const BuiltPiece& p = scene.pieces[i];
    if (!p.placed) continue;
    Random random(key(scene.options.seed, 53, i));
    const Ring root = ring_points(p.outline, p.levels().back());
    const int beads = static_cast<int>(random.between(0, 4));
    for (int k = 0; k < beads; ++k) {
      const auto at = static_cast<std::size_t>(random.unit() * static_cast<double>(root.size()));
      const Frame f = on_form(scene, p.frame.to_bowl({root[at].x(), root[at].y(), -p.thickness_mm}));
      add_mound(mesh, f.origin, f.axes.col(2), random.between(0.8, 1.8), 0.6);
    }
  }
}

// Midway between two pieces' roots, where they are neighbours.
std::vector<Vector3d> between_roots(const Body& a, const Body& b, double within) {
  std::vector<Vector3d> out;
  for (const Vector3d& p : dense(a.root(), kStep_mm)) {
    Vector3d nearest = b.root().front();
    for (std::size_t i = 0; i < b.root().size(); ++i) {
      const Vector3d q = nearest_on_segment(p, b.root()[i], b.root()[(i + 1) % b.root().size()]);
      if ((q - p).squaredNorm() < (nearest - p).squaredNorm()) nearest = q;
    }
    if ((nearest - p).norm() <= within) out.push_back(0.5 * (p + nearest));
  }
  return out;
}

}  // namespace

std::vector<GlueString> glue_strings(const Scene& scene) {
  std::vector<GlueString> out;
  const double share = scene.options.build.glue_in_seams;
  if (share <= 0) return out;
  std::map<std::string, std::size_t> by_label;
  for (std::size_t i = 0; i < scene.pieces.size(); ++i) by_label[scene.pieces[i].label] = i;
  for (std::size_t k = 0; k < scene.seams.size(); ++k) {
    const TrueSeam& s = scene.seams[k];
    Random random(key(scene.options.seed, 137, k));
    if (random.unit() >= share || s.mouth_mm > 8 || s.length_mm < 5) continue;
    const BuiltPiece &a = scene.pieces[by_label[s.first]], &b = scene.pieces[by_label[s.second]];
    const std::vector<Vector3d> along = between_roots(a.body(), b.body(), s.root_mm + 2);
    if (along.empty()) continue;
    GlueString g;
    g.seam = k;
    const auto middle = static_cast<std::size_t>(random.unit() * static_cast<double>(along.size()));
    const double half = random.between(2, 8),
                 room = std::min(a.thickness_mm, b.thickness_mm) - kBelowMouth_mm;
    for (const Vector3d& p : along) {
      if ((p - along[middle]).norm() <= half) g.places.push_back(on_form(scene, p).origin);
    }
    g.radius_mm = 0.5 * s.root_mm + 0.5;
    g.height_mm = room * random.between(0.3, 0.8);
    const double corner = std::max(scene.options.build.broken_arris_mm, scene.options.build.corner_most_mm);
    g.height_mm = std::max(0.1, g.height_mm - corner - 2 * std::abs(scene.options.build.round_mm));
    out.push_back(std::move(g));
  }
  return out;
}

Mesh glue_mesh(const Scene& scene) {
  Mesh mesh;
  mesh.surface = Surface::glue;
  mesh.smooth = true;
  if (scene.options.build.glue_beads) add_drops(scene, mesh);
  for (const GlueString& g : glue_strings(scene)) {
    for (const Vector3d& p : g.places)
      add_mound(mesh, p, on_form(scene, p).axes.col(2), g.radius_mm, g.height_mm / g.radius_mm);
  }
  return mesh;
}

}  // namespace interstice::renderer
