#include "renderer/mesh.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "renderer/card_print.h"
#include "renderer/glue.h"

namespace interstice::renderer {

using Eigen::Vector2d;
using Eigen::Vector3d;

namespace {

constexpr double kBenchEdge = 900, kBenchFine = 330;  // mm from the axis

constexpr double kInWood = 1.5;  // mm inside an outline: resin that stands flush is out of sight there

// `lean(i)`: how far the surface's normal leans out of the outline there, and up.
template <class Lean>
Row ring_row(Mesh& mesh, const BuiltPiece& piece, const Ring& ring, const Lean& lean) {
  Outline flat;
  for (const Vector3d& p : ring) flat.emplace_back(p.head<2>());
  const std::vector<Vector2d> normals = point_normals(flat);
  Row row;
  for (std::size_t i = 0; i < ring.size(); ++i) {
    const Vector2d l = lean(i);
    const Vector3d normal(l.x() * normals[i].x(), l.x() * normals[i].y(), l.y());
    row.push_back(mesh.add(piece.frame.to_bowl(ring[i]), piece.frame.axes * normal.normalized()));
  }
  return row;
}

Row face_row(Mesh& mesh, const BuiltPiece& piece, const Ring& ring) {
  Row row;
  for (const Vector3d& p : ring) {
    const Vector2d slope = piece.face_slope(p.head<2>());
    row.push_back(
        mesh.add(piece.frame.to_bowl(p), piece.frame.axes * Vector3d(slope.x(), slope.y(), 1).normalized()));
  }
  return row;
}

void fan(Mesh& mesh, const BuiltPiece& piece, const Ring& edge, const Row& row, bool top) {
  Outline flat;
  for (const Vector3d& p : edge) flat.emplace_back(p.head<2>());
  const Vector2d c = area_centroid(flat);
  const double z = top && piece.bow_mm != 0 ? piece.face_z(c) : edge.front().z();
  const std::uint32_t middle =
      mesh.add(piece.frame.to_bowl({c.x(), c.y(), z}), (top ? 1 : -1) * piece.frame.axes.col(2));
  for (std::size_t i = 0; i < row.size(); ++i) {
    const std::size_t j = (i + 1) % row.size();
    mesh.add_triangle(middle, row[top ? i : j], row[top ? j : i], top ? Part::face : Part::root);
  }
}

void add_face(Mesh& mesh, const BuiltPiece& piece, const Ring& edge) {
  Row outer = face_row(mesh, piece, edge);
  for (const Ring& ring : piece.face_rings(edge)) {
    Row row = face_row(mesh, piece, ring);
    band(mesh, row, outer, Part::face);
    outer = std::move(row);
  }
  fan(mesh, piece, edge, outer, true);
}

Mesh piece_mesh(const BuiltPiece& piece, int index, double step) {
  Mesh mesh;
  mesh.surface = Surface::piece;
  mesh.index = index;
  const std::vector<LevelRing> levels = piece.levels();
  const std::size_t widest = levels.size() - 2;
  add_face(mesh, piece, ring_points(piece.outline, levels.front()));
  Row above;
  for (std::size_t k = 0; k <= widest && widest > 0; ++k) {
    const double a = 0.5 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(widest);
    Row row = ring_row(mesh, piece, ring_points(piece.outline, levels[k]),
                       [a](std::size_t) { return Vector2d(std::sin(a), std::cos(a)); });
    if (k > 0) band(mesh, above, row, Part::arris);
    above = std::move(row);
  }
  const LevelRing &top = levels[widest], &root = levels.back();
  std::vector<double> slope;
  double deep = 0;
  for (std::size_t i = 0; i < top.size(); ++i) {
    const double wall = root[i].depth_mm - top[i].depth_mm;
    slope.push_back((root[i].inset_mm - top[i].inset_mm) / wall);
    deep = std::max(deep, wall);
  }
  const int rows = std::max(2, static_cast<int>(std::ceil(deep / step)));
  for (int k = 0; k <= rows; ++k) {
    const LevelRing l = between(top, root, static_cast<double>(k) / rows);
    Row row = ring_row(mesh, piece, ring_points(piece.outline, l),
                       [&](std::size_t i) { return Vector2d(1, -slope[i]); });
    if (k > 0) band(mesh, above, row, Part::wall);
    above = std::move(row);
  }
  const Ring bottom = ring_points(piece.outline, root);
  fan(mesh, piece, bottom, ring_row(mesh, piece, bottom, [](std::size_t) { return Vector2d(0, -1); }), false);
  return mesh;
}

Mesh form_mesh(const Scene& scene, double step) {
  Mesh mesh;
  mesh.surface = Surface::form;
  mesh.smooth = true;
  const Form& form = scene.form;
  const int rows = static_cast<int>(std::ceil(form.length_mm() / step));
  const int around =
      std::max(64, static_cast<int>(2 * std::numbers::pi * scene.options.form.rim_radius_mm / step));
  Row inner;
  const Frame pole = form.frame(Vector2d::Zero(), form.error_mm(0));
  const std::uint32_t top = mesh.add(pole.origin, pole.axes.col(2));
  for (int k = 1; k <= rows; ++k) {
    const double rho = form.length_mm() * k / rows;
    Row row;
    for (int i = 0; i < around; ++i) {
      const double a = 2 * std::numbers::pi * i / around;
      const Frame f = form.frame(rho * Vector2d(std::cos(a), std::sin(a)), form.error_mm(rho));
      row.push_back(mesh.add(f.origin, f.axes.col(2)));
    }
    if (k > 1) {
      band(mesh, inner, row, Part::other);
    } else {
      for (std::size_t i = 0; i < row.size(); ++i)
        mesh.add_triangle(top, row[i], row[(i + 1) % row.size()], Part::other);
    }
    inner = std::move(row);
  }
  return mesh;
}

Mesh bench_mesh(const Scene& scene, double step) {
  Mesh mesh;
  mesh.surface = Surface::bench;
  const SceneOptions& o = scene.options;
  const bool form_there = o.layout.rings_placed >= 0;
  const double shell = o.form.rim_radius_mm + o.layout.thickness_mm;
  const int around = 300;
  double r = form_there ? std::max(5.0, o.form.rim_radius_mm - 6) : 5;
  Row inner;
  while (true) {
    Row row;
    for (int i = 0; i < around; ++i) {
      const double a = 2 * std::numbers::pi * i / around;
      row.push_back(mesh.add({r * std::cos(a), r * std::sin(a), 0}, Vector3d::UnitZ()));
    }
    if (!inner.empty()) band(mesh, inner, row, Part::other);
    inner = std::move(row);
    if (r >= kBenchEdge) break;
    const double out = std::max(0.0, r - shell);
    r = std::min(kBenchEdge, r + (form_there ? step + 0.12 * out : 12) * (r > kBenchFine ? 4 : 1));
  }
  return mesh;
}

Mesh card_mesh(const CardPlace& card, int index) {
  Mesh mesh;
  mesh.surface = Surface::card;
  mesh.index = index;
  const int across = 36, down = 25;
  for (int row = 0; row <= down; ++row) {
    for (int col = 0; col <= across; ++col) {
      const double x = kSheetLongMm * (static_cast<double>(col) / across - 0.5);
      const double y = kSheetShortMm * (0.5 - static_cast<double>(row) / down);
      mesh.add(card.on_sheet(x, y), card.normal_at(x, y));
    }
  }
  for (std::uint32_t row = 0; row < down; ++row) {
    for (std::uint32_t col = 0; col < across; ++col) {
      const std::uint32_t a = row * (across + 1) + col, b = a + across + 1;
      mesh.add_triangle(a, b, b + 1, Part::other);
      mesh.add_triangle(a, b + 1, a + 1, Part::other);
    }
  }
  return mesh;
}

// The resin's surface where it is not inside the wood.
Mesh resin_mesh(const Scene& scene) {
  Mesh mesh;
  mesh.surface = Surface::resin;
  mesh.smooth = true;
  const Poured& poured = *scene.poured;
  const auto side = static_cast<std::size_t>(poured.side);
  const auto point = [&](int row, int column) {
    const Vector2d uv = poured.map_at(row, column);
    return scene.form.point(uv, poured.cell(row, column).top_mm + scene.form.error_mm(uv.norm()));
  };
  std::vector<std::int64_t> corner(side * side, -1);
  const auto corner_at = [&](int row, int column) {
    std::int64_t& c = corner[static_cast<std::size_t>(row) * side + static_cast<std::size_t>(column)];
    if (c >= 0) return static_cast<std::uint32_t>(c);
    // Across the neighbours that there are.
    const auto next = [&](int r, int k) {
      return poured.cell(r, k).there ? point(r, k) : point(row, column);
    };
    const Vector3d across = next(row, column + 1) - next(row, column - 1);
    const Vector3d up = next(row + 1, column) - next(row - 1, column);
    const Vector2d uv = poured.map_at(row, column);
    Vector3d normal = across.cross(up);
    if (normal.norm() < 1e-9) normal = scene.form.frame(uv, 0).axes.col(2);
    c = mesh.add(point(row, column), normal.normalized());
    return static_cast<std::uint32_t>(c);
  };
  const auto seen = [&](const ResinCell& c) { return c.there && (c.hollow || c.first_mm > -kInWood); };
  for (int row = 1; row + 2 < poured.side; ++row) {
    for (int column = 1; column + 2 < poured.side; ++column) {
      const ResinCell &a = poured.cell(row, column), &b = poured.cell(row, column + 1);
      const ResinCell &c = poured.cell(row + 1, column), &d = poured.cell(row + 1, column + 1);
      if (!a.there || !b.there || !c.there || !d.there) continue;
      if (!seen(a) && !seen(b) && !seen(c) && !seen(d)) continue;
      const std::uint32_t i = corner_at(row, column), j = corner_at(row, column + 1);
      const std::uint32_t k = corner_at(row + 1, column), l = corner_at(row + 1, column + 1);
      mesh.add_triangle(i, j, l, Part::other);
      mesh.add_triangle(i, l, k, Part::other);
    }
  }
  return mesh;
}

}  // namespace

std::uint32_t Mesh::add(const Vector3d& position, const Vector3d& normal) {
  positions.push_back(position.cast<float>());
  normals.push_back(normal.cast<float>());
  light.push_back(Eigen::Vector3f::Zero());
  return static_cast<std::uint32_t>(positions.size() - 1);
}

void Mesh::add_triangle(std::uint32_t a, std::uint32_t b, std::uint32_t c, Part part) {
  triangles.push_back({a, b, c});
  parts.push_back(part);
}

void band(Mesh& mesh, const Row& upper, const Row& lower, Part part) {
  const std::size_t n = upper.size();
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t j = (i + 1) % n;
    mesh.add_triangle(upper[i], lower[i], lower[j], part);
    mesh.add_triangle(upper[i], lower[j], upper[j], part);
  }
}

namespace {

// Form and pieces once more.
void add_second_bowl(const Scene& scene, std::vector<Mesh>& meshes) {
  const Eigen::Vector3f shift(-static_cast<float>(scene.options.second_bowl.distance_mm), 0, 0);
  const std::size_t first = meshes.size();
  for (std::size_t i = 0; i < first; ++i) {
    if (meshes[i].surface != Surface::form && meshes[i].surface != Surface::piece) continue;
    Mesh copy = meshes[i];
    copy.shift = shift;
    for (Eigen::Vector3f& p : copy.positions) p += shift;
    meshes.push_back(std::move(copy));
  }
}

}  // namespace

std::vector<Mesh> make_meshes(const Scene& scene, double step) {
  std::vector<Mesh> meshes;
  meshes.push_back(bench_mesh(scene, step));
  const bool form_there = scene.options.layout.rings_placed >= 0;
  if (form_there) meshes.push_back(form_mesh(scene, step));
  for (std::size_t i = 0; i < scene.pieces.size() && form_there; ++i) {
    if (scene.pieces[i].placed) meshes.push_back(piece_mesh(scene.pieces[i], static_cast<int>(i), step));
  }
  if (form_there && scene.options.second_bowl.distance_mm > 0) add_second_bowl(scene, meshes);
  if (form_there && scene.poured) meshes.push_back(resin_mesh(scene));
  for (std::size_t i = 0; i < scene.cards.size(); ++i)
    meshes.push_back(card_mesh(scene.cards[i], static_cast<int>(i)));
  if (form_there) {
    Mesh glue = glue_mesh(scene);
    if (!glue.triangles.empty()) meshes.push_back(std::move(glue));
  }
  return meshes;
}

}  // namespace interstice::renderer
