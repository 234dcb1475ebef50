// First steps of a layout: seeds in rings, relaxed on the surface, and the cells they make.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "layout/layout.h"

namespace interstice::layout {

// Seeds on the map, one a piece; other_rings: one ring more or less, whichever is the next best; nothing when
// the form cannot hold them.
std::optional<std::vector<Eigen::Vector2d>> ring_seeds(const geometry::Profile& form,
                                                       const LayoutOptions& options,
                                                       std::uint32_t random_seed, bool other_rings);

// Cells as closed walks over shared corners.
struct CornerMesh {
  struct Corner {
    Eigen::Vector2d uv;
    bool on_rim = false;
    std::vector<std::size_t> cells;  // two on the rim, three elsewhere
  };
  std::vector<Corner> corners;
  std::vector<std::vector<std::size_t>> cells;  // corners counter-clockwise seen from outside

  // Replaces the seam from corner i to corner j (neither on the rim, i before j in the walk of the cell on
  // its left) by one between the two cells at its ends. False, and nothing changed, when a cell would lose
  // its shape.
  bool flip(std::size_t i, std::size_t j, const geometry::Profile& form);
};

// The places nearest to each seed in 3-D, as a corner mesh; nothing when they do not make simple cells.
std::optional<CornerMesh> corner_mesh(const geometry::Profile& form,
                                      const std::vector<Eigen::Vector2d>& seeds);

}  // namespace interstice::layout
