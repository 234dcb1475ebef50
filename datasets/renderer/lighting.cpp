#include "renderer/lighting.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "core/parallel.h"
#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector3f;

namespace {

constexpr float kTwoPi = 6.2831853f;
constexpr float kOff = 0.03f;        // mm: rays start this far off their surface
constexpr float kOffBench = 0.6f;    // mm: the bench is lit above the cards that lie on it
constexpr float kBuried = 8;         // mm: form shut in this closely all round stays dark
constexpr std::size_t kBlock = 512;  // corners worked on at a time

// Directions of a cosine-weighted hemisphere about z, an even pattern.
std::vector<Vector3f> hemisphere(int count) {
  std::vector<Vector3f> out;
  for (int i = 0; i < count; ++i) {
    const float u = (static_cast<float>(i) + 0.5f) / static_cast<float>(count);
    const float angle = kTwoPi * 0.61803399f * static_cast<float>(i), r = std::sqrt(u);
    out.emplace_back(r * std::cos(angle), r * std::sin(angle), std::sqrt(1 - u));
  }
  return out;
}

Eigen::Matrix3f turned_basis(const Vector3f& normal, float turn) {
  const Vector3f x0 = normal.unitOrthogonal(), y0 = normal.cross(x0);
  Eigen::Matrix3f basis;
  basis.col(0) = std::cos(turn) * x0 + std::sin(turn) * y0;
  basis.col(1) = normal.cross(basis.col(0));
  basis.col(2) = normal;
  return basis;
}

Vector3f light_at(const Mesh& mesh, const Hit& hit) {
  const auto& t = mesh.triangles[hit.triangle];
  return (1 - hit.u - hit.v) * mesh.light[t[0]] + hit.u * mesh.light[t[1]] + hit.v * mesh.light[t[2]];
}

struct Corner {
  std::uint32_t mesh, vertex;
};

struct Bake {
  std::vector<Mesh>& meshes;
  const RayScene& rays;
  const Paint& paint;
  std::optional<Lamp> lamp;
  std::vector<Vector3f> pattern, bounce_pattern, mean;
  float unit;       // room light on an open bench
  float off_bench;  // mm: over all cards, curled ones too
};

Vector3f start(const Bake& b, const Mesh& mesh, std::uint32_t vertex) {
  const float off = mesh.surface == Surface::bench ? b.off_bench : kOff;
  Vector3f from = mesh.positions[vertex] + off * mesh.normals[vertex];
  from.z() = std::max(from.z(), kOff);  // the form's rim stands on the bench
  return from;
}

// Whether a place on the form lies deep under a piece, where no light comes: saves most of the work.
bool buried(const Bake& b, const Vector3f& from, const Vector3f& normal) {
  if (!b.rays.blocked(from, normal, 0.3f * kBuried)) return false;
  const Eigen::Matrix3f basis = turned_basis(normal, 0);
  for (int k = 0; k < 8; ++k) {
    const float a = kTwoPi * static_cast<float>(k) / 8;
    const Vector3f slanted(0.94f * std::cos(a), 0.94f * std::sin(a), 0.34f);
    if (!b.rays.blocked(from, basis * slanted, kBuried)) return false;
  }
  return true;
}

Vector3f room_on(const Bake& b, const Corner& c) {
  const Mesh& mesh = b.meshes[c.mesh];
  const Vector3f from = start(b, mesh, c.vertex);
  if ((mesh.surface == Surface::form || mesh.surface == Surface::resin) &&
      buried(b, from, mesh.normals[c.vertex]))
    return Vector3f::Zero();
  const float turn = kTwoPi * unit_float_from(key(3, c.mesh, c.vertex));
  const Eigen::Matrix3f basis = turned_basis(mesh.normals[c.vertex], turn);
  Vector3f sum = Vector3f::Zero();
  for (const Vector3f& local : b.pattern) {
    const Vector3f direction = basis * local;
    if (direction.z() < 0 && mesh.surface == Surface::bench) continue;
    if (!b.rays.blocked(from, direction, 1e9f)) sum += room_light(direction);
  }
  return sum / (static_cast<float>(b.pattern.size()) * b.unit);
}

Vector3f bounced_on(const Bake& b, const Corner& c) {
  const Mesh& mesh = b.meshes[c.mesh];
  if ((mesh.surface == Surface::form || mesh.surface == Surface::resin) && mesh.light[c.vertex].isZero())
    return Vector3f::Zero();
  const Vector3f from = start(b, mesh, c.vertex);
  const float turn = kTwoPi * unit_float_from(key(5, c.mesh, c.vertex));
  const Eigen::Matrix3f basis = turned_basis(mesh.normals[c.vertex], turn);
  Vector3f sum = Vector3f::Zero();
  for (const Vector3f& local : b.bounce_pattern) {
    const Vector3f direction = basis * local;
    const Hit hit = b.rays.first_hit(from, direction);
    if (!hit.found || hit.normal.dot(direction) > 0) continue;
    const Mesh& other = b.meshes[hit.mesh];
    Vector3f light = light_at(other, hit);
    if (b.lamp) {
      light.array() += lamp_light(*b.lamp, b.rays, from + (hit.distance - kOff) * direction, hit.normal,
                                  key(7, c.mesh, c.vertex));
    }
    sum += b.mean[hit.mesh].cwiseProduct(light);
  }
  return sum / static_cast<float>(b.bounce_pattern.size());
}

void for_corners(const std::vector<Mesh>& meshes, int threads,
                 const std::function<void(const Corner&)>& work) {
  std::vector<Corner> corners;
  for (std::uint32_t m = 0; m < meshes.size(); ++m) {
    for (std::uint32_t v = 0; v < meshes[m].positions.size(); ++v) corners.push_back({m, v});
  }
  core::parallel_for((corners.size() + kBlock - 1) / kBlock, threads, [&](std::size_t block) {
    const std::size_t end = std::min(corners.size(), (block + 1) * kBlock);
    for (std::size_t i = block * kBlock; i < end; ++i) work(corners[i]);
  });
}

float open_bench_light(const std::vector<Vector3f>& pattern) {
  float sum = 0;
  for (const Vector3f& d : pattern) sum += room_light(d).mean();
  return sum / static_cast<float>(pattern.size());
}

}  // namespace

std::optional<Lamp> side_lamp(const LookOptions& look) {
  if (look.side_light <= 0) return std::nullopt;
  return Lamp{Vector3f(620, 420, 520), 18, static_cast<float>(look.side_light)};
}

Vector3f room_light(const Vector3f& d) {
  const float lift = 0.5f * (d.z() + 1);
  const float ceiling = std::pow(std::max(0.0f, d.dot(Vector3f(0.28f, -0.18f, 0.943f))), 6.0f);
  const float level = 0.12f + 0.5f * lift * lift + 1.5f * ceiling;
  const float warm = std::clamp(0.25f - d.z(), 0.0f, 0.3f);
  return level * Vector3f(1 + 0.3f * warm, 1.0f, 1.03f - 0.6f * warm);
}

float lamp_light(const Lamp& lamp, const RayScene& rays, const Vector3f& position, const Vector3f& normal,
                 std::uint64_t pick) {
  const float a = kTwoPi * unit_float_from(mixed(pick)),
              r = lamp.radius_mm * std::sqrt(unit_float_from(mixed(pick + 1)));
  const Vector3f facing = lamp.centre.normalized(), x = facing.unitOrthogonal(), y = facing.cross(x);
  const Vector3f to = lamp.centre + r * (std::cos(a) * x + std::sin(a) * y) - position;
  const float distance = to.norm(), slant = normal.dot(to) / distance;
  if (slant <= 0) return 0;
  if (rays.blocked(position + kOff * normal, to / distance, distance)) return 0;
  return lamp.strength * slant * lamp.centre.squaredNorm() / (distance * distance);
}

void light_meshes(std::vector<Mesh>& meshes, const RayScene& rays, const Paint& paint,
                  const SceneOptions& o) {
  Bake b{meshes,
         rays,
         paint,
         side_lamp(o.look),
         hemisphere(o.sampling.light_rays),
         hemisphere(std::max(8, o.sampling.light_rays / 3)),
         {},
         1,
         kOffBench + static_cast<float>(o.cards.curl_mm)};
  b.unit = open_bench_light(hemisphere(4096));
  for (const Mesh& mesh : meshes) b.mean.push_back(paint.mean(mesh));
  for_corners(meshes, o.sampling.threads,
              [&](const Corner& c) { meshes[c.mesh].light[c.vertex] = room_on(b, c); });
  std::vector<std::vector<Vector3f>> bounced(meshes.size());
  for (std::size_t m = 0; m < meshes.size(); ++m) bounced[m].resize(meshes[m].positions.size());
  for_corners(meshes, o.sampling.threads,
              [&](const Corner& c) { bounced[c.mesh][c.vertex] = bounced_on(b, c); });
  for (std::size_t m = 0; m < meshes.size(); ++m) {
    for (std::size_t v = 0; v < bounced[m].size(); ++v) meshes[m].light[v] += bounced[m][v];
  }
}

}  // namespace interstice::renderer
