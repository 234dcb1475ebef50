// The scene's surfaces as triangles, with the light falling on each corner.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <vector>

#include "renderer/scene.h"

namespace interstice::renderer {

enum class Surface : std::uint8_t { piece, form, bench, card, glue, resin };
enum class Part : std::uint8_t { face, arris, wall, root, other };

struct Mesh {
  Surface surface = Surface::bench;
  int index = 0;                                    // of the piece or card
  bool smooth = false;                              // shade with interpolated normals
  Eigen::Vector3f shift = Eigen::Vector3f::Zero();  // a copy: this far from the place its colours belong to
  std::vector<Eigen::Vector3f> positions, normals, light;
  std::vector<std::array<std::uint32_t, 3>> triangles;
  std::vector<Part> parts;  // one a triangle

  std::uint32_t add(const Eigen::Vector3d& position, const Eigen::Vector3d& normal);
  void add_triangle(std::uint32_t a, std::uint32_t b, std::uint32_t c, Part part);
};

using Row = std::vector<std::uint32_t>;  // corners of a mesh, all round something

// Triangles between two closed rows of equal length, the second below the first, seen from outside.
void band(Mesh& mesh, const Row& upper, const Row& lower, Part part);

// All surfaces; light is left at zero. `step_mm` is the spacing of corners where light changes quickly.
std::vector<Mesh> make_meshes(const Scene& scene, double step_mm);

}  // namespace interstice::renderer
