// Light: a bright soft ceiling, one lamp from the side if wanted, and what bounces once between surfaces.
//
// Everything is matt, so the light falling on a surface does not depend on the camera: that of the ceiling
// and of the bounces is computed once for each corner of each mesh and shared by all photos. The lamp's own
// light changes too sharply for that and is traced for each sample of each photo. Unit: 1 is what falls on an
// open bench; a surface sends back reflectance x light.
#pragma once

#include <optional>

#include "renderer/shade.h"
#include "renderer/trace.h"

namespace interstice::renderer {

struct Lamp {
  Eigen::Vector3f centre;
  float radius_mm = 15;
  float strength = 0;  // light on a surface square to it at the origin
};

std::optional<Lamp> side_lamp(const LookOptions& look);

// Light of the room from a direction, as seen from the scene.
Eigen::Vector3f room_light(const Eigen::Vector3f& direction);

// Lamp light at a point with a normal; `pick` chooses the point on the lamp.
float lamp_light(const Lamp& lamp, const RayScene& rays, const Eigen::Vector3f& position,
                 const Eigen::Vector3f& normal, std::uint64_t pick);

void light_meshes(std::vector<Mesh>& meshes, const RayScene& rays, const Paint& paint,
                  const SceneOptions& options);

}  // namespace interstice::renderer
