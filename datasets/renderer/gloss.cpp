#include "renderer/gloss.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "renderer/random.h"

namespace interstice::renderer {

using Eigen::Vector3f;

namespace {

constexpr float kIndex = 1.5f;      // of refraction: cured epoxies lie between 1.50 and 1.57
constexpr float kFacing = 0.04f;    // ((n - 1) / (n + 1))^2, of light that is mirrored straight back
constexpr float kGlossOff = 0.03f;  // mm: rays start so far off their surface
constexpr float kPi = 3.14159265f;

// Schlick's form of Fresnel's reflectance (C. Schlick 1994, Computer Graphics Forum 13).
float fresnel(float slant) {
  return kFacing + (1 - kFacing) * std::pow(1 - std::clamp(slant, 0.0f, 1.0f), 5.0f);
}

float open_bench() {  // room light on it: a cosine-weighted mean over the upper half
  float sum = 0;
  const int count = 4096;
  for (int i = 0; i < count; ++i) {
    const float u = (static_cast<float>(i) + 0.5f) / count, a = 3.8832220f * static_cast<float>(i);
    sum += room_light({std::sqrt(u) * std::cos(a), std::sqrt(u) * std::sin(a), std::sqrt(1 - u)}).mean();
  }
  return sum / count;
}

}  // namespace

Gloss::Gloss(const SceneOptions& o, const std::vector<Mesh>& meshes, const RayScene& rays, const Paint& paint)
    : meshes_(meshes),
      rays_(rays),
      paint_(paint),
      lamp_(side_lamp(o.look)),
      resin_(resin_paint(o.resin.colour)),
      strength_(static_cast<float>(o.resin.gloss)),
      slope_(static_cast<float>(o.resin.roughness)),
      unit_(open_bench()) {}

Vector3f Gloss::body_light(const Place& p, float slant) const {
  const Vector3f all = p.light + p.lamp * Vector3f(1.08f, 1.0f, 0.88f);
  if (!resin_.clear) {
    const Vector3f q = p.position * 3.1f + 2.3f * p.direction;
    const float flake = resin_.flakes * smooth_noise(q, 77) + 0.02f * smooth_noise(p.position * 0.7f, 78);
    return (1 + flake) * resin_.body.cwiseProduct(all);
  }
  // Through it, there and back: bent by Snell's law to what lies behind.
  const float sine2 = (1 - slant * slant) / (kIndex * kIndex);
  const Vector3f into =
      ((p.direction + slant * p.normal) / kIndex - std::sqrt(1 - sine2) * p.normal).normalized();
  const Hit hit = rays_.first_hit(p.position - kGlossOff * p.normal, into);
  const float way = hit.found ? std::min(60.0f, hit.distance) : 60.0f;
  const float turned = 1 - std::exp(-resin_.scattered_per_mm * way);
  Vector3f behind = Vector3f::Zero();
  if (hit.found) {
    const Vector3f at = p.position - kGlossOff * p.normal + hit.distance * into;
    behind = paint_.at(meshes_[hit.mesh], at).reflectance;
  }
  const Vector3f passed = (-2 * way * resin_.absorbed_per_mm.array()).exp().matrix();
  return (turned * resin_.body + (1 - turned) * passed.cwiseProduct(behind)).cwiseProduct(all);
}

Vector3f Gloss::mirrored(const Place& p) const {
  const float a = 6.2831853f * unit_float_from(mixed(p.pick + 11)),
              r = slope_ * std::sqrt(-2 * std::log(1 - 0.999f * unit_float_from(mixed(p.pick + 12))));
  const Vector3f x = p.normal.unitOrthogonal(), y = p.normal.cross(x);
  const Vector3f facet = (p.normal + r * (std::cos(a) * x + std::sin(a) * y)).normalized();
  const Vector3f to = (p.direction - 2 * p.direction.dot(facet) * facet).normalized();
  if (to.dot(p.normal) <= 0) return Vector3f::Zero();
  const Hit hit = rays_.first_hit(p.position + kGlossOff * p.normal, to);
  if (!hit.found) return room_light(to) / unit_;
  const Mesh& other = meshes_[hit.mesh];
  const auto& t = other.triangles[hit.triangle];
  const Vector3f light =
      (1 - hit.u - hit.v) * other.light[t[0]] + hit.u * other.light[t[1]] + hit.v * other.light[t[2]];
  return paint_.mean(other).cwiseProduct(light);
}

// Slopes of the surface are normal (P. Beckmann, A. Spizzichino 1963): density over the half-way direction.
float Gloss::lamp_mirrored(const Place& p, float slant) const {
  const Vector3f to = (lamp_->centre - p.position).normalized();
  const Vector3f half = (to - p.direction).normalized();
  const float facing = std::max(1e-3f, half.dot(p.normal)), lamp_slant = std::max(1e-2f, to.dot(p.normal));
  const float tan2 = (1 - facing * facing) / (facing * facing);
  const float width = slope_ * slope_ + 4e-4f;  // the lamp's own size beside it
  const float density =
      std::exp(-0.5f * tan2 / width) / (2 * kPi * width * facing * facing * facing * facing);
  return kPi * fresnel(to.dot(half)) * density / (4 * std::max(0.05f, slant) * lamp_slant) * p.lamp;
}

Vector3f Gloss::light_from(const Place& p) const {
  const float slant = std::max(0.0f, -p.direction.dot(p.normal));
  Vector3f out = body_light(p, slant) + strength_ * fresnel(slant) * mirrored(p);
  if (lamp_ && p.lamp > 0) out += strength_ * lamp_mirrored(p, slant) * Vector3f(1.08f, 1.0f, 0.88f);
  return out;
}

}  // namespace interstice::renderer
