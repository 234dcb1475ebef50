// Rays against the meshes, by Embree.
#pragma once

#include <memory>
#include <vector>

#include "renderer/mesh.h"

namespace interstice::renderer {

struct Hit {
  bool found = false;
  float distance = 0;
  std::uint32_t mesh = 0, triangle = 0;
  float u = 0, v = 0;                                 // weights of the triangle's second and third corner
  Eigen::Vector3f normal = Eigen::Vector3f::UnitZ();  // of the triangle, unit
};

class RayScene {
 public:
  explicit RayScene(const std::vector<Mesh>& meshes);  // the meshes must outlive it
  ~RayScene();
  RayScene(const RayScene&) = delete;
  RayScene& operator=(const RayScene&) = delete;

  Hit first_hit(const Eigen::Vector3f& origin, const Eigen::Vector3f& direction, float near_mm = 0) const;
  bool blocked(const Eigen::Vector3f& origin, const Eigen::Vector3f& direction, float far_mm) const;

 private:
  struct Handles;
  std::unique_ptr<Handles> handles_;
};

}  // namespace interstice::renderer
