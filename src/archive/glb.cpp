#include "archive/glb.h"

#include <Eigen/Geometry>
#include <bit>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <numeric>

#include "geometry/polygon.h"

namespace interstice::archive {
namespace {

using Json = nlohmann::ordered_json;
using Eigen::Vector2d;
using Eigen::Vector3d;

static_assert(std::endian::native == std::endian::little, "glTF buffers are little-endian");

// Codes of the glTF 2.0 specification.
constexpr int kFloat = 5126, kArrayBuffer = 34962, kTriangles = 4;
constexpr std::uint32_t kMagic = 0x46546C67, kJsonChunk = 0x4E4F534A, kBinChunk = 0x004E4942;

double cross(const Vector2d& a, const Vector2d& b, const Vector2d& c) {
  return (b.x() - a.x()) * (c.y() - a.y()) - (b.y() - a.y()) * (c.x() - a.x());
}

bool is_ear(const geometry::Polygon& polygon, const std::vector<std::size_t>& left, std::size_t k) {
  const std::size_t n = left.size();
  const std::size_t ia = left[(k + n - 1) % n], ib = left[k], ic = left[(k + 1) % n];
  const Vector2d &a = polygon[ia], &b = polygon[ib], &c = polygon[ic];
  if (cross(a, b, c) <= 0) return false;
  for (const std::size_t i : left) {
    if (i == ia || i == ib || i == ic) continue;
    const Vector2d& p = polygon[i];
    if (cross(a, b, p) >= 0 && cross(b, c, p) >= 0 && cross(c, a, p) >= 0) return false;
  }
  return true;
}

void add_triangle(PieceMesh& mesh, const Vector3d& a, const Vector3d& b, const Vector3d& c) {
  const Vector3d normal = (b - a).cross(c - a);
  const double length = normal.norm();
  if (length < 1e-9) return;  // repeated points: nothing to see, and no normal
  for (const Vector3d& p : {a, b, c}) {
    mesh.points.push_back(p);
    mesh.normals.push_back(normal / length);
  }
}

Vector3d to_gltf(const Vector3d& p) {
  return {p.x(), p.z(), -p.y()};
}

void append_floats(std::string& buffer, const Vector3d& v) {
  for (int i = 0; i < 3; ++i) {
    const auto value = static_cast<float>(v[i]);
    buffer.append(reinterpret_cast<const char*>(&value), sizeof value);
  }
}

void append_u32(std::string& out, std::uint32_t value) {
  out.append(reinterpret_cast<const char*>(&value), sizeof value);
}

// Appends one attribute's data; returns the accessor's index.
std::size_t add_accessor(Json& root, std::string& buffer, const std::vector<Vector3d>& values,
                         bool with_bounds) {
  const std::size_t offset = buffer.size();
  std::array<float, 3> low, high;
  low.fill(std::numeric_limits<float>::max());
  high.fill(std::numeric_limits<float>::lowest());
  for (const Vector3d& v : values) {
    append_floats(buffer, v);
    for (std::size_t i = 0; i < 3; ++i) {
      const auto x = static_cast<float>(v[static_cast<Eigen::Index>(i)]);
      low[i] = std::min(low[i], x);
      high[i] = std::max(high[i], x);
    }
  }
  root["bufferViews"].push_back({{"buffer", 0},
                                 {"byteOffset", offset},
                                 {"byteLength", buffer.size() - offset},
                                 {"target", kArrayBuffer}});
  Json accessor = {{"bufferView", root["bufferViews"].size() - 1},
                   {"componentType", kFloat},
                   {"count", values.size()},
                   {"type", "VEC3"}};
  if (with_bounds) {
    accessor["min"] = low;
    accessor["max"] = high;
  }
  root["accessors"].push_back(accessor);
  return root["accessors"].size() - 1;
}

void add_piece(Json& root, std::string& buffer, const PieceMesh& mesh) {
  std::vector<Vector3d> positions, normals;
  for (const Vector3d& p : mesh.points) positions.push_back(to_gltf(p) / 1000.0);
  for (const Vector3d& n : mesh.normals) normals.push_back(to_gltf(n));
  const std::size_t position = add_accessor(root, buffer, positions, true);
  const std::size_t normal = add_accessor(root, buffer, normals, false);
  root["meshes"].push_back({{"name", mesh.label},
                            {"primitives",
                             {{{"attributes", {{"POSITION", position}, {"NORMAL", normal}}},
                               {"material", 0},
                               {"mode", kTriangles}}}}});
  root["nodes"].push_back({{"name", mesh.label}, {"mesh", root["meshes"].size() - 1}});
  root["scenes"][0]["nodes"].push_back(root["nodes"].size() - 1);
}

std::string chunk(std::string bytes, std::uint32_t type, char padding) {
  while (bytes.size() % 4 != 0) bytes += padding;
  std::string out;
  append_u32(out, static_cast<std::uint32_t>(bytes.size()));
  append_u32(out, type);
  return out + bytes;
}

}  // namespace

std::vector<std::array<std::size_t, 3>> triangulated(const geometry::Polygon& polygon) {
  std::vector<std::array<std::size_t, 3>> out;
  if (polygon.size() < 3) return out;
  std::vector<std::size_t> left(polygon.size());
  std::iota(left.begin(), left.end(), std::size_t{0});
  std::size_t k = 0, tried = 0;
  while (left.size() > 3) {
    const std::size_t n = left.size();
    k %= n;
    // When no ear is left the polygon crosses itself; cut anything rather than stop.
    if (is_ear(polygon, left, k) || tried >= n) {
      out.push_back({left[(k + n - 1) % n], left[k], left[(k + 1) % n]});
      left.erase(left.begin() + static_cast<std::ptrdiff_t>(k));
      tried = 0;
      ++k;  // not the same corner again: keeps the triangles from becoming one fan of slivers
    } else {
      ++k;
      ++tried;
    }
  }
  out.push_back({left[0], left[1], left[2]});
  return out;
}

PieceMesh mesh_of(const seams::FitTile& tile) {
  PieceMesh mesh{tile.label, {}, {}};
  const std::vector<Vector3d>& arris = tile.arris;
  if (tile.state != plan::TileState::placed || arris.size() < 3) return mesh;
  geometry::Polygon flat;
  for (const Vector3d& p : arris) flat.push_back(tile.face.drop(p));
  const bool solid = tile.root.size() == arris.size();
  for (const auto& [a, b, c] : triangulated(flat)) {
    add_triangle(mesh, arris[a], arris[b], arris[c]);
    if (solid) add_triangle(mesh, tile.root[c], tile.root[b], tile.root[a]);
  }
  for (std::size_t i = 0; solid && i < arris.size(); ++i) {
    const std::size_t j = (i + 1) % arris.size();
    add_triangle(mesh, arris[i], tile.root[i], tile.root[j]);
    add_triangle(mesh, arris[i], tile.root[j], arris[j]);
  }
  return mesh;
}

std::string write_glb(const seams::FitDocument& fit) {
  Json root;
  root["asset"] = {{"version", "2.0"}, {"generator", "interstice"}};
  root["scene"] = 0;
  root["scenes"] = Json::array({{{"name", fit.name.empty() ? "bowl" : fit.name}}});
  std::string buffer;
  for (const seams::FitTile& tile : fit.tiles) {
    const PieceMesh mesh = mesh_of(tile);
    if (!mesh.points.empty()) add_piece(root, buffer, mesh);
  }
  std::string chunks;
  if (!buffer.empty()) {
    root["materials"] = Json::array(
        {{{"name", "wood"},
          {"pbrMetallicRoughness",
           {{"baseColorFactor", {0.52, 0.36, 0.22, 1.0}}, {"metallicFactor", 0.0}, {"roughnessFactor", 0.8}}},
          {"doubleSided", true}}});
    root["buffers"] = Json::array({{{"byteLength", buffer.size()}}});
  }
  chunks = chunk(root.dump(-1, ' ', false, Json::error_handler_t::replace), kJsonChunk, ' ');
  if (!buffer.empty()) chunks += chunk(std::move(buffer), kBinChunk, '\0');
  std::string out;
  append_u32(out, kMagic);
  append_u32(out, 2);
  append_u32(out, static_cast<std::uint32_t>(12 + chunks.size()));
  return out + chunks;
}

}  // namespace interstice::archive
