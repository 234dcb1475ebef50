// What resin sends to the camera: its colour, what shows through it, what it mirrors.
#pragma once

#include "renderer/lighting.h"

namespace interstice::renderer {

// What resin sends to the camera from a place where `diffuse` light falls; unit as in lighting.h.
class Gloss {
 public:
  Gloss(const SceneOptions& options, const std::vector<Mesh>& meshes, const RayScene& rays,
        const Paint& paint);

  struct Place {
    Eigen::Vector3f position, normal, direction;  // of the line of sight, away from the camera
    Eigen::Vector3f light;                        // falling on it, without the lamp's
    float lamp = 0;                               // the lamp's
    std::uint64_t pick = 0;
  };
  Eigen::Vector3f light_from(const Place& place) const;

 private:
  Eigen::Vector3f body_light(const Place& place, float slant) const;
  Eigen::Vector3f mirrored(const Place& place) const;
  float lamp_mirrored(const Place& place, float slant) const;

  const std::vector<Mesh>& meshes_;
  const RayScene& rays_;
  const Paint& paint_;
  std::optional<Lamp> lamp_;
  ResinPaint resin_;
  float strength_, slope_, unit_;
};

}  // namespace interstice::renderer
